"""Scores on their way to a learning-management system.

A score is queued in the unit of work that changes it, so none is lost; there is one row for each
student and line item, so that what has not gone out is replaced and not sent twice. A sender
claims rows for a while before it sends them; if it dies before it notes the answer, the same score
with the same timestamp is sent again, which leaves the platform as it was.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, bindparam, delete, func, select
from sqlalchemy.orm import Session

from server.store.corrections import Override, awaiting_second_look
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.gradebook import Standing, standings_in
from server.store.lti import LineItem, LtiContext, LtiLink, LtiMember, LtiPerson, OutgoingScore
from server.store.people import User
from server.store.standings import CountingAttempt

FIRST_WAIT = timedelta(seconds=10)
LONGEST_WAIT = timedelta(hours=1)
CLAIMED = timedelta(minutes=5)
"""For so long nobody else sends a row that a sender has taken."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """How far the scores of an assignment have come.

    ``links`` are the ids of the links that lead to it. ``since`` is when the oldest score that
    waits was made, ``trouble`` why it waits, ``stopped`` how many wait for somebody to fix that.
    ``unknown`` are students with points whom an LMS does not know yet, as they are listed.
    """

    links: tuple[int, ...]
    sent: int
    waiting: int
    stopped: int
    since: datetime | None
    trouble: str
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutboxNow:
    """How many scores wait to be sent, how many of them are stopped, and since when."""

    waiting: int
    stopped: int
    since: datetime | None


_LINKS = select(LtiLink).where(LtiLink.assignment_id == bindparam("assignment_id"))


def queue_scores(
    session: Session, assignment: Assignment, user_ids: Collection[int], now: datetime
) -> None:
    """Queue what these students' standings say now, for every link that leads to the assignment."""
    links = session.scalars(_LINKS, {"assignment_id": assignment.id}).all()
    if not links or not user_ids:
        return
    standings = defaultdict(Standing, standings_in(session, assignment))
    counting = [standings[id].submission_id for id in user_ids]
    looks = awaiting_second_look(session, [each for each in counting if each is not None])
    for link in links:
        for user_id in subjects_of(session, link.context.platform_id, user_ids):
            standing = standings[user_id]
            pending = standing.submission_id in looks and standing.override is None
            _queue(session, link, user_id, standing, now, pending=pending)


def subjects_of(session: Session, platform_id: int, user_ids: Collection[int]) -> dict[int, str]:
    """Return what a platform calls these people, as far as that is known here.

    Who has come from it is who they said then; of the others its roster may have told.
    """
    found: dict[int, str] = {}
    for known in (LtiMember, LtiPerson):
        rows = session.execute(
            select(known.user_id, known.subject)
            .where(known.platform_id == platform_id, known.user_id.in_(user_ids))
            .order_by(known.subject)
        )
        found |= {user_id: subject for user_id, subject in rows if user_id is not None}
    return found


def _queue(
    session: Session,
    link: LtiLink,
    user_id: int,
    standing: Standing,
    now: datetime,
    *,
    pending: bool,
) -> None:
    wanted: dict[str, tuple[float | None, float]] = {}
    if (link.line_item or link.line_items) and standing.points is not None:
        most = standing.max_score or max(standing.points, 1.0)
        wanted[""] = (standing.points, most)
    if link.by_requirement and link.line_items:
        wanted |= {
            name: (1.0 if status == "met" else 0.0, 1.0)
            for name, status in standing.results.items()
        }
    rows = {
        row.requirement: row
        for row in session.scalars(
            select(OutgoingScore).where(
                OutgoingScore.link_id == link.id, OutgoingScore.user_id == user_id
            )
        )
    }
    if standing.points is None:
        wanted |= {name: (None, row.max_points) for name, row in rows.items()}
    for requirement, (points, most) in wanted.items():
        row = rows.get(requirement)
        comment = "" if requirement or points is None else _comment(standing)
        state = (points, most, standing.submitted_at, comment, pending)
        if row is None:
            row = OutgoingScore(
                link_id=link.id, user_id=user_id, requirement=requirement, version=0, sent_version=0
            )
            session.add(row)
        elif (row.points, row.max_points, row.submitted_at, row.comment, row.pending) == state:
            continue
        row.points, row.max_points, row.submitted_at, row.comment, row.pending = state
        # Each timestamp must be later than the last one that the platform has seen.
        row.made_at = max(now, row.made_at + timedelta(milliseconds=1)) if row.version else now
        row.version += 1
        row.tries, row.next_try_at, row.trouble, row.stopped = 0, now, "", False
    session.flush()


def _comment(standing: Standing) -> str:
    """Return what the student reads beside the points in the platform."""
    if standing.override is not None:
        return f"Set by the instructor: {standing.override.reason}"
    met = sum(status == "met" for status in standing.results.values())
    text = f"Attempt {standing.attempt}: {met} of {len(standing.results)} requirements met."
    if standing.days_late:
        text += f" {standing.days_late} {'day' if standing.days_late == 1 else 'days'} late."
    return text


WAITING = OutgoingScore.sent_version < OutgoingScore.version


def outbox_now(session: Session) -> OutboxNow:
    """Return how the scores of all assignments are on their way."""
    waiting, stopped, since = session.execute(
        select(
            func.count(),
            func.count().filter(OutgoingScore.stopped),
            func.min(OutgoingScore.made_at),
        ).where(WAITING)
    ).one()
    return OutboxNow(waiting, stopped, since)


def _due(now: datetime) -> ColumnElement[bool]:
    return WAITING & ~OutgoingScore.stopped & (OutgoingScore.next_try_at <= now)


def any_due(session: Session, now: datetime) -> bool:
    """Return whether some score's time to be sent has come."""
    return session.scalar(select(OutgoingScore.id).where(_due(now)).limit(1)) is not None


def claim_due(session: Session, now: datetime, limit: int = 50) -> list[OutgoingScore]:
    """Scores whose time to be sent has come, the oldest first; nobody else is given them soon."""
    found = list(
        session.scalars(
            select(OutgoingScore)
            .where(_due(now))
            .order_by(OutgoingScore.next_try_at, OutgoingScore.id)
            .limit(limit)
            .with_for_update(skip_locked=True, of=OutgoingScore)
        )
    )
    for score in found:
        score.next_try_at = now + CLAIMED
    session.flush()
    return found


def note_sent(session: Session, score_id: int, version: int) -> None:
    """Note that the platform has this version; a newer one may wait already."""
    score = _locked(session, score_id)
    if score is not None:
        score.sent_version = max(score.sent_version, version)
        if score.version == version:
            score.trouble, score.tries = "", 0


def note_failed(
    session: Session,
    score_id: int,
    version: int,
    trouble: str,
    now: datetime,
    *,
    wait: timedelta | None = None,
    stop: bool = False,
) -> None:
    """Try again later, each time after twice the wait, or after ``wait`` if that is longer.

    With ``stop`` it is not tried again by itself. A newer version is left as it is.
    """
    score = _locked(session, score_id)
    if score is None or score.version != version:
        return
    usual = min(FIRST_WAIT * 2 ** min(score.tries, 20), LONGEST_WAIT)
    score.tries += 1
    score.next_try_at = now + min(max(usual, wait or usual), LONGEST_WAIT)
    score.trouble = trouble[:300]
    score.stopped = stop


def _locked(session: Session, score_id: int) -> OutgoingScore | None:
    return session.get(
        OutgoingScore, score_id, with_for_update={"of": OutgoingScore}, populate_existing=True
    )


def try_again(session: Session, assignment_id: int, now: datetime) -> None:
    """Send what waits for the assignment now, also what was stopped.

    The columns of a link that was stopped are looked for again, and made if they are gone.
    """
    waiting = session.scalars(
        select(OutgoingScore)
        .join(LtiLink, LtiLink.id == OutgoingScore.link_id)
        .where(LtiLink.assignment_id == assignment_id, WAITING)
    ).all()
    for link in {score.link for score in waiting if score.stopped and score.link.line_items}:
        link.line_item = None
        session.execute(delete(LineItem).where(LineItem.link_id == link.id))
    for score in waiting:
        score.tries, score.next_try_at, score.stopped = 0, now, False
    session.flush()


def delivery(session: Session, assignment_id: int) -> Delivery | None:
    """Return how far an assignment's scores have come; None if no link leads to it."""
    rows = session.execute(
        select(LtiLink.id, LtiContext.platform_id)
        .join(LtiContext, LtiContext.id == LtiLink.context_id)
        .where(LtiLink.assignment_id == assignment_id)
        .order_by(LtiLink.id)
    ).all()
    if not rows:
        return None
    links = [link for link, _ in rows]
    unknown = _unknown(session, assignment_id, {platform for _, platform in rows})
    ours = OutgoingScore.link_id.in_(links)
    sent, waiting, stopped, since = session.execute(
        select(
            func.count().filter(~WAITING),
            func.count().filter(WAITING),
            func.count().filter(WAITING & OutgoingScore.stopped),
            func.min(OutgoingScore.made_at).filter(WAITING),
        ).where(ours)
    ).one()
    trouble = session.scalar(
        select(OutgoingScore.trouble)
        .where(ours, WAITING, OutgoingScore.trouble != "")
        .order_by(OutgoingScore.stopped.desc(), OutgoingScore.next_try_at.desc())
        .limit(1)
    )
    return Delivery(tuple(links), sent, waiting, stopped, since, trouble or "", unknown)


def _unknown(
    session: Session, assignment_id: int, platform_ids: Collection[int]
) -> tuple[str, ...]:
    """Return who has points at an assignment and is known to none of the platforms."""
    counted = select(CountingAttempt.user_id).where(
        CountingAttempt.assignment_id == assignment_id, CountingAttempt.points.is_not(None)
    )
    given = select(Override.user_id).where(Override.assignment_id == assignment_id)
    known = [
        select(each.user_id).where(each.platform_id.in_(platform_ids), each.user_id.is_not(None))
        for each in (LtiPerson, LtiMember)
    ]
    return tuple(
        session.scalars(
            select(User.listed_as)
            .join(Enrolment, Enrolment.user_id == User.id)
            .join(Assignment, Assignment.section_id == Enrolment.section_id)
            .where(
                Assignment.id == assignment_id,
                Enrolment.role == SectionRole.STUDENT,
                User.id.in_(counted.union(given)),
                User.id.not_in(known[0].union(known[1])),
            )
            .order_by(func.lower(User.listed_as), User.id)
        )
    )
