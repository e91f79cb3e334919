"""Scores on their way to a learning-management system.

A score is queued in the unit of work that changes it, so none is lost; there is one row for each
student and line item, so that what has not gone out is replaced and not sent twice.
"""

from collections.abc import Collection
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.courses import Assignment
from server.store.gradebook import Standing, standings_in
from server.store.lti import LtiLink, LtiPerson, OutgoingScore

FIRST_WAIT = timedelta(seconds=10)
LONGEST_WAIT = timedelta(hours=1)


def queue_scores(
    session: Session, assignment: Assignment, user_ids: Collection[int], now: datetime
) -> None:
    """Queue what these students' standings say now, for every link that leads to the assignment."""
    links = session.scalars(select(LtiLink).where(LtiLink.assignment_id == assignment.id)).all()
    if not links or not user_ids:
        return
    standings = standings_in(session, assignment)
    for link in links:
        known = session.scalars(
            select(LtiPerson.user_id).where(
                LtiPerson.platform_id == link.context.platform_id, LtiPerson.user_id.in_(user_ids)
            )
        )
        for user_id in known:
            standing = standings.get(user_id)
            if standing is not None:
                _queue(session, link, user_id, standing, now)


def _queue(
    session: Session, link: LtiLink, user_id: int, standing: Standing, now: datetime
) -> None:
    wanted: dict[str, tuple[float, float]] = {}
    if link.line_item and standing.points is not None:
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
    for requirement, (points, most) in wanted.items():
        row = rows.get(requirement)
        if row is None:
            row = OutgoingScore(
                link_id=link.id, user_id=user_id, requirement=requirement, version=0, sent_version=0
            )
            session.add(row)
        elif (row.points, row.max_points) == (points, most):
            continue
        row.points, row.max_points = points, most
        # Each timestamp must be later than the last one that the platform has seen.
        row.made_at = max(now, row.made_at + timedelta(milliseconds=1)) if row.version else now
        row.version += 1
        row.tries, row.next_try_at, row.trouble = 0, now, ""
    session.flush()


def due_scores(session: Session, now: datetime, limit: int = 50) -> list[OutgoingScore]:
    """Scores whose time to be sent has come, the oldest first."""
    return list(
        session.scalars(
            select(OutgoingScore)
            .where(
                OutgoingScore.sent_version < OutgoingScore.version, OutgoingScore.next_try_at <= now
            )
            .order_by(OutgoingScore.next_try_at, OutgoingScore.id)
            .limit(limit)
        )
    )


def note_sent(session: Session, score_id: int, version: int) -> None:
    """The platform has this version; a newer one may wait already."""
    score = session.get(OutgoingScore, score_id)
    if score is not None:
        score.sent_version = max(score.sent_version, version)
        score.trouble = ""


def note_failed(session: Session, score_id: int, trouble: str, now: datetime) -> None:
    """Try again later, each time after twice the wait."""
    score = session.get(OutgoingScore, score_id)
    if score is not None:
        wait = min(FIRST_WAIT * 2**score.tries, LONGEST_WAIT)
        score.tries += 1
        score.next_try_at = now + wait
        score.trouble = trouble[:300]
