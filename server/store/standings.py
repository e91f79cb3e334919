"""Which attempt of a student counts, kept beside the attempts so that pages need not look for it.

``recount`` is called wherever something changes on which that depends: an attempt, its verdict, a
due date, the policy of the assignment, a partner, the college's time zone.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ForeignKey, bindparam, delete, insert, select, update
from sqlalchemy.orm import Mapped, Session, lazyload, mapped_column

from server.marking.verdict import Status
from server.store.allowances import Allowance, allowances_from, select_allowances
from server.store.attempts import (
    RequirementResult,
    ResultByHand,
    StoredVerdict,
    Submission,
    SubmissionState,
)
from server.store.college import time_zone
from server.store.courses import (
    SANDBOX_COURSE,
    Assignment,
    Counting,
    Course,
    Enrolment,
    Partner,
    Section,
)
from server.store.database import Base, Document, send
from server.store.local_time import days_late

BY_HAND = "by hand"


class CountingAttempt(Base):
    """How one student stands with one assignment; no row before the first attempt.

    ``attempts`` and ``queued`` count theirs and their partner's, without those that could not be
    marked in time. The other columns are None until one is marked. ``score`` is what the marking
    gave (with each cause counted once, if the policy says so), ``points`` what is left after
    ``days_late`` calendar days, both out of ``max_score``.
    ``results`` has ``[status, score, max_score]`` by requirement, in the order of the exercise; a
    fourth entry says that a teacher has set it.
    ``passed_after`` says how many attempts it took to reach every point, whichever attempt counts;
    None if none has.
    """

    __tablename__ = "standings"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    attempts: Mapped[int]
    queued: Mapped[int]
    submission_id: Mapped[int | None] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), index=True
    )
    attempt: Mapped[int | None]
    submitted_at: Mapped[datetime | None]
    days_late: Mapped[int] = mapped_column(default=0)
    score: Mapped[float | None]
    points: Mapped[float | None]
    max_score: Mapped[float | None]
    results: Mapped[Document] = mapped_column(default=dict)
    passed_after: Mapped[int | None]


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt as the policy sees it; ``score`` is None while it waits for its verdict."""

    submission_id: int
    user_id: int
    attempt: int
    submitted_at: datetime
    score: float | None
    max_score: float | None


def points_left(score: float, late: int, late_per_day: float) -> float:
    """Return what the late policy leaves of a score."""
    return score * max(0.0, 1.0 - late * late_per_day)


def counting(
    attempts: Sequence[Attempt],
    policy: Counting,
    due_at: datetime,
    late_per_day: float,
    zone: ZoneInfo,
) -> Attempt | None:
    """Return the last marked attempt or the best after deductions, of equals the first.

    None if none.
    """
    marked = [each for each in attempts if each.score is not None]
    if not marked:
        return None
    if policy is Counting.LAST:
        return max(marked, key=lambda each: (each.submitted_at, each.submission_id))

    def worth(each: Attempt) -> tuple[float, float]:
        late = days_late(each.submitted_at, due_at, zone)
        return points_left(each.score or 0.0, late, late_per_day), -each.submission_id

    return max(marked, key=worth)


def passed_after(attempts: Iterable[Attempt]) -> int | None:
    """Return how many attempts it took until one reached every point; None if none has."""
    in_order = sorted(attempts, key=lambda each: (each.submitted_at, each.submission_id))
    for number, each in enumerate(in_order, 1):
        if each.score is not None and each.score == each.max_score:
            return number
    return None


def partners_at(session: Session, assignment_id: int) -> dict[int, int]:
    """Return who works with whom at an assignment: each of two by the other."""
    rows = session.execute(
        select(Partner.user_id, Partner.partner_id).where(Partner.assignment_id == assignment_id)
    )
    return dict(rows.all())


def with_partners(session: Session, assignment: Assignment, user_ids: Collection[int]) -> set[int]:
    """Return these students and those with whom they work at the assignment."""
    partners = partners_at(session, assignment.id) if assignment.in_pairs else {}
    return {*user_ids, *(partners[id] for id in user_ids if id in partners)}


_GONE = (
    delete(CountingAttempt)
    .where(CountingAttempt.assignment_id == bindparam("of_assignment"))
    .execution_options(synchronize_session=False)
)
_GONE_OF = _GONE.where(CountingAttempt.user_id.in_(bindparam("user_ids", expanding=True)))


def recount(
    session: Session, assignment: Assignment, user_ids: Collection[int] | None = None
) -> None:
    """Bring the standings of these students (all, if None) and of their partners up to date."""
    lock_counting(session, assignment)
    partners = partners_at(session, assignment.id) if assignment.in_pairs else {}
    if user_ids is not None:
        user_ids = with_partners(session, assignment, user_ids)
    attempts = _attempts(session, assignment, user_ids)
    zone = time_zone(session)
    rows = []
    for (_, student), allowance in _students(session, assignment, user_ids, zone).items():
        own = attempts.get(student, [])
        together = own + attempts.get(partners.get(student, -1), [])
        if not together:
            continue
        due_at = allowance.due_at
        found = counting(together, assignment.counting, due_at, assignment.late_per_day, zone)
        rows.append(_row(assignment, student, together, found, due_at, zone))
    chosen = [row["submission_id"] for row in rows if row["submission_id"] is not None]
    results = _results(session, chosen) if chosen else {}
    for row in rows:
        row["results"] = results.get(row["submission_id"], {})
    gone, values = _of_some(_GONE, _GONE_OF, user_ids)
    send(session, gone, values | {"of_assignment": assignment.id})
    if rows:
        send(session, insert(CountingAttempt), rows)


def recount_all(session: Session) -> None:
    """Count the standings of every assignment anew."""
    for assignment in session.scalars(select(Assignment).order_by(Assignment.id)):
        recount(session, assignment)


def assignments_with_late_work(session: Session) -> list[int]:
    """Return the assignments to which something came after they were due."""
    return list(
        session.scalars(
            select(Assignment.id)
            .join(Submission, Submission.assignment_id == Assignment.id)
            .where(Submission.submitted_at > Assignment.due_at)
            .distinct()
            .order_by(Assignment.id)
        )
    )


def counting_elsewhere(
    session: Session, assignment: Assignment, most: int
) -> list[tuple[Submission, Section]]:
    """Return what counts for the same exercise in other sections, the newest first."""
    rows = session.execute(
        select(Submission, Section)
        .options(
            lazyload(Submission.assignment),
            lazyload(Submission.verdict),
        )
        .join(Assignment, Assignment.id == Submission.assignment_id)
        .join(Section, Section.id == Assignment.section_id)
        .join(Section.course)
        .where(
            Assignment.exercise == assignment.exercise,
            Assignment.id != assignment.id,
            Course.code != SANDBOX_COURSE,
            Submission.id.in_(
                select(CountingAttempt.submission_id).where(
                    CountingAttempt.submission_id.is_not(None)
                )
            ),
        )
        .order_by(Submission.id.desc())
        .limit(most)
    )
    return [(submission, section) for submission, section in rows]


_ONE_MORE = (
    update(CountingAttempt)
    .where(
        CountingAttempt.assignment_id == bindparam("in_assignment"),
        CountingAttempt.user_id == bindparam("of_user"),
    )
    .values(attempts=CountingAttempt.attempts + 1, queued=CountingAttempt.queued + 1)
    .returning(CountingAttempt.user_id)
    .execution_options(synchronize_session=False)
)


def count_queued(
    session: Session, assignment: Assignment, user_id: int, *, first: bool = False
) -> None:
    """Do what ``recount`` does after one more attempt that waits for its verdict, in less time.

    ``first``: it is the first attempt of somebody who hands in.
    """
    if assignment.in_pairs:
        recount(session, assignment, [user_id])
        return
    lock_counting(session, assignment)
    if first:
        send(session, insert(CountingAttempt), _first_row(assignment.id, user_id))
        return
    counted = send(session, _ONE_MORE, {"in_assignment": assignment.id, "of_user": user_id})
    if counted.first() is None:
        recount(session, assignment, [user_id])


_LOCK = (
    select(Assignment.id)
    .where(Assignment.id == bindparam("assignment_id"))
    .with_for_update(key_share=True)
)


def lock_counting(session: Session, assignment: Assignment) -> None:
    """Let other units of work that count attempts at this assignment wait for this one.

    Two that count at the same time would each miss what the other has not committed.
    """
    send(session, _LOCK, {"assignment_id": assignment.id})


Statement = TypeVar("Statement")


def _of_some(
    of_all: Statement, of_users: Statement, user_ids: Collection[int] | None
) -> tuple[Statement, dict[str, object]]:
    """Return the statement for these users, or for everybody if None, with its values."""
    return (of_all, {}) if user_ids is None else (of_users, {"user_ids": list(user_ids)})


def _first_row(assignment_id: int, user_id: int) -> dict[str, object]:
    """Return the standing of somebody whose first attempt waits for its verdict."""
    return {
        "assignment_id": assignment_id,
        "user_id": user_id,
        "attempts": 1,
        "queued": 1,
        "days_late": 0,
        "results": {},
    }


def _row(
    assignment: Assignment,
    student: int,
    attempts: Sequence[Attempt],
    found: Attempt | None,
    due_at: datetime,
    zone: ZoneInfo,
) -> dict[str, object]:
    late = days_late(found.submitted_at, due_at, zone) if found else 0
    score = found.score if found else None
    return {
        "assignment_id": assignment.id,
        "user_id": student,
        "attempts": len(attempts),
        "queued": sum(each.score is None for each in attempts),
        "submission_id": found.submission_id if found else None,
        "attempt": found.attempt if found else None,
        "submitted_at": found.submitted_at if found else None,
        "days_late": late,
        "score": score,
        "points": None if score is None else points_left(score, late, assignment.late_per_day),
        "max_score": found.max_score if found else None,
        "passed_after": passed_after(attempts),
    }


_ATTEMPTS = (
    select(
        Submission.id,
        Submission.user_id,
        Submission.attempt,
        Submission.submitted_at,
        StoredVerdict.score,
        StoredVerdict.max_score,
        StoredVerdict.score_by_cause,
        StoredVerdict.by_hand,
    )
    .outerjoin(StoredVerdict, StoredVerdict.submission_id == Submission.id)
    .where(
        Submission.assignment_id == bindparam("assignment_id"),
        Submission.state != SubmissionState.UNMARKED,
    )
    .order_by(Submission.id)
)
_ATTEMPTS_OF = _ATTEMPTS.where(Submission.user_id.in_(bindparam("user_ids", expanding=True)))


def _attempts(
    session: Session, assignment: Assignment, user_ids: Collection[int] | None
) -> dict[int, list[Attempt]]:
    query, values = _of_some(_ATTEMPTS, _ATTEMPTS_OF, user_ids)
    found: dict[int, list[Attempt]] = defaultdict(list)
    for row in send(session, query, values | {"assignment_id": assignment.id}):
        score = row.score_by_cause if assignment.cause_once else row.score
        if row.by_hand:
            score = min(round(score + row.by_hand, 6), row.max_score)
        found[row.user_id].append(
            Attempt(row.id, row.user_id, row.attempt, row.submitted_at, score, row.max_score)
        )
    return found


_STUDENTS = select_allowances().where(Assignment.id == bindparam("assignment_id"))
_STUDENTS_OF = _STUDENTS.where(Enrolment.user_id.in_(bindparam("user_ids", expanding=True)))


def _students(
    session: Session, assignment: Assignment, user_ids: Collection[int] | None, zone: ZoneInfo
) -> dict[tuple[int, int], Allowance]:
    """Return what holds for each, by assignment and student."""
    query, values = _of_some(_STUDENTS, _STUDENTS_OF, user_ids)
    rows = send(session, query, values | {"assignment_id": assignment.id})
    return allowances_from(rows, zone)


_RESULTS = (
    select(
        RequirementResult.submission_id,
        RequirementResult.requirement,
        RequirementResult.status,
        RequirementResult.score,
        RequirementResult.max_score,
        ResultByHand.share,
    )
    .outerjoin(
        ResultByHand,
        (ResultByHand.submission_id == RequirementResult.submission_id)
        & (ResultByHand.requirement == RequirementResult.requirement),
    )
    .where(RequirementResult.submission_id.in_(bindparam("submission_ids", expanding=True)))
    .order_by(RequirementResult.position)
)


def _results(session: Session, submission_ids: Sequence[object]) -> dict[object, Document]:
    rows = send(session, _RESULTS, {"submission_ids": submission_ids})
    found: dict[object, Document] = defaultdict(dict)
    for row in rows:
        result = [row.status.value, row.score, row.max_score]
        if row.share is not None:
            status = Status.MET if row.share == 1 else Status.NOT_MET
            result = [status.value, row.share * row.max_score, row.max_score, BY_HAND]
        found[row.submission_id][row.requirement] = result
    return found
