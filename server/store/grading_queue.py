"""What waits for a grader in a section: the newest attempt of each student at each exercise."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session

from server.store.attempts import StoredVerdict, Submission, SubmissionState
from server.store.audit_chain import Action, AuditEvent
from server.store.corrections import RungComment, awaiting_second_look
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.people import User


class Waiting(StrEnum):
    """Why a submission is in the queue.

    It is new until somebody who teaches has looked at it.
    """

    NEW = "new"
    SECOND_LOOK = "second look"
    NO_COMMENT = "no comment"


@dataclass(frozen=True, slots=True)
class QueuedWork:
    """A submission that waits for a grader, and why."""

    submission_id: int
    assignment_id: int
    title: str
    student: str
    attempt: int
    submitted_at: datetime
    points: float
    max_score: float
    waits: frozenset[Waiting]


def grading_queue(session: Session, section_id: int) -> list[QueuedWork]:
    """Return what waits in a section, the oldest first; four queries, whatever its size."""
    rows = _newest(session, section_id)
    seen = _seen(session, section_id)
    ids = [row.id for row in rows]
    looks = awaiting_second_look(session, ids)
    commented = set(
        session.scalars(
            select(RungComment.submission_id).where(RungComment.submission_id.in_(ids)).distinct()
        )
    )
    found = []
    for row in rows:
        last_seen = seen.get((row.assignment_id, row.log_id))
        waits = {
            Waiting.NEW: last_seen is None or last_seen < row.submitted_at,
            Waiting.SECOND_LOOK: row.id in looks,
            Waiting.NO_COMMENT: row.id not in commented,
        }
        found.append(
            QueuedWork(
                row.id,
                row.assignment_id,
                row.title,
                row.listed_as,
                row.attempt,
                row.submitted_at,
                row.points,
                row.max_score,
                frozenset(each for each, holds in waits.items() if holds),
            )
        )
    return [each for each in found if each.waits]


def next_in_queue(
    queue: Sequence[QueuedWork], submission_id: int, submitted_at: datetime
) -> QueuedWork | None:
    """Return what comes after a submission, be it in the queue still or not; at its end the first.

    None if nothing else waits.
    """
    others = [each for each in queue if each.submission_id != submission_id]
    here = (submitted_at, submission_id)
    later = (each for each in others if (each.submitted_at, each.submission_id) > here)
    return next(later, others[0] if others else None)


def _newest(session: Session, section_id: int) -> Sequence[Row[*tuple[Any, ...]]]:
    """Return the newest marked attempt of each student at each exercise, the oldest first."""
    newest = (
        select(
            Submission.assignment_id, Submission.user_id, func.max(Submission.attempt).label("last")
        )
        .join(Assignment, Assignment.id == Submission.assignment_id)
        .where(Assignment.section_id == section_id, Submission.state == SubmissionState.MARKED)
        .group_by(Submission.assignment_id, Submission.user_id)
        .subquery()
    )
    return session.execute(
        select(
            Submission.id,
            Submission.assignment_id,
            Assignment.title,
            User.listed_as,
            User.log_id,
            Submission.attempt,
            Submission.submitted_at,
            (StoredVerdict.score + StoredVerdict.by_hand).label("points"),
            StoredVerdict.max_score,
        )
        .join(
            newest,
            (newest.c.assignment_id == Submission.assignment_id)
            & (newest.c.user_id == Submission.user_id)
            & (newest.c.last == Submission.attempt),
        )
        .join(Assignment, Assignment.id == Submission.assignment_id)
        .join(StoredVerdict, StoredVerdict.submission_id == Submission.id)
        .join(User, User.id == Submission.user_id)
        .join(
            Enrolment,
            (Enrolment.user_id == Submission.user_id) & (Enrolment.section_id == section_id),
        )
        .where(Enrolment.role == SectionRole.STUDENT)
        .order_by(Submission.submitted_at, Submission.id)
    ).all()


def _seen(session: Session, section_id: int) -> dict[tuple[int | None, str | None], datetime]:
    """Return when a submission was last looked at, by assignment and log id of its author."""
    rows = session.execute(
        select(AuditEvent.assignment_id, AuditEvent.person, func.max(AuditEvent.at))
        .where(AuditEvent.section_id == section_id, AuditEvent.action == Action.SAW_SUBMISSION)
        .group_by(AuditEvent.assignment_id, AuditEvent.person)
    )
    return {(assignment, person): at for assignment, person, at in rows}
