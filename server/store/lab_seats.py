"""Who sits where in the supervised labs of a section, for the lab hour."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store.attempts import Submission
from server.store.courses import Assignment, students_of
from server.store.people import User
from server.store.sittings import Sitting

AROUND = timedelta(hours=12)
"""So long before its window and after it a lab is shown."""

SILENT_AFTER = timedelta(seconds=45)
"""A page gives a sign of life every 15 seconds."""


class SeatState(StrEnum):
    """How it stands with one student of a supervised lab."""

    AWAITED = "not here yet"
    CONNECTED = "connected"
    SILENT = "no connection"
    OVER = "over"


@dataclass(frozen=True, slots=True)
class LabSeat:
    """One student of a lab; ``shared``: somebody else says that they sit at the same place."""

    student: User
    sitting: Sitting | None
    state: SeatState
    attempts: int
    shared: bool


@dataclass(frozen=True, slots=True)
class SupervisedLab:
    """A supervised assignment with all students of its section."""

    assignment: Assignment
    seats: tuple[LabSeat, ...]


def labs_now(session: Session, section_id: int, now: datetime) -> list[SupervisedLab]:
    """Return the supervised labs of a section whose window is near, or at which somebody sits."""
    sitting = select(Sitting.assignment_id).where(Sitting.ends_at > now - AROUND)
    near = (Assignment.opens_at <= now + AROUND) & (Assignment.due_at >= now - AROUND)
    found = session.scalars(
        select(Assignment)
        .where(
            Assignment.section_id == section_id,
            Assignment.sitting_minutes.is_not(None),
            near | Assignment.id.in_(sitting),
        )
        .order_by(Assignment.opens_at, Assignment.id)
    ).all()
    if not found:
        return []
    ids = [each.id for each in found]
    students = students_of(session, section_id)
    sittings = {
        (each.assignment_id, each.user_id): each
        for each in session.scalars(select(Sitting).where(Sitting.assignment_id.in_(ids)))
    }
    attempts = {
        (assignment_id, user_id): count
        for assignment_id, user_id, count in session.execute(
            select(Submission.assignment_id, Submission.user_id, func.count())
            .where(Submission.assignment_id.in_(ids))
            .group_by(Submission.assignment_id, Submission.user_id)
        )
    }
    return [
        SupervisedLab(
            each,
            tuple(_seats(each, students, sittings, attempts, now)),
        )
        for each in found
    ]


def _seats(
    assignment: Assignment,
    students: list[User],
    sittings: dict[tuple[int, int], Sitting],
    attempts: dict[tuple[int, int], int],
    now: datetime,
) -> list[LabSeat]:
    taken = Counter(
        each.seat.casefold()
        for (assignment_id, _), each in sittings.items()
        if assignment_id == assignment.id and each.ends_at > now
    )
    seats = []
    for student in students:
        place = assignment.id, student.id
        sitting = sittings.get(place)
        state = _state(sitting, now)
        in_it = state in (SeatState.CONNECTED, SeatState.SILENT)
        shared = in_it and sitting is not None and taken[sitting.seat.casefold()] > 1
        seats.append(LabSeat(student, sitting, state, attempts.get(place, 0), shared))
    return seats


def _state(sitting: Sitting | None, now: datetime) -> SeatState:
    if sitting is None:
        return SeatState.AWAITED
    if now >= sitting.ends_at:
        return SeatState.OVER
    return SeatState.CONNECTED if now - sitting.seen_at < SILENT_AFTER else SeatState.SILENT
