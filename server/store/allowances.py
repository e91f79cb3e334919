"""What holds for one student at an assignment in place of what holds for the class.

Four things can give it: an extension, a profile of accommodations, an incomplete that is to be
finished by a date, and joining late. It is worked out whenever it is asked for, so that a change of
the assignment or of a profile holds at once; the standings are counted anew then.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import CheckConstraint, ForeignKey, Row, Select, String, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.college import UTC_ZONE, time_zone
from server.store.courses import KEEPS_WORK, Assignment, Enrolment, Extension, SectionRole
from server.store.database import Base

MAX_NOTE = 500

TIMED = timedelta(days=1)
"""Work that is due so soon after it opens is timed, like a lab hour: it gets more time."""


class Accommodation(Base):
    """What a student is given in all their sections, for what is due between two moments.

    ``time_factor`` stretches timed work (see ``TIMED``); other work is due ``extra_days`` later, at
    the same time of day. ``note`` is for the instructors.
    """

    __tablename__ = "accommodations"
    __table_args__ = (
        CheckConstraint("time_factor >= 1", name="no_less_time"),
        CheckConstraint("extra_days >= 0", name="no_fewer_days"),
        CheckConstraint("extra_attempts >= 0", name="no_fewer_attempts"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    time_factor: Mapped[float]
    extra_days: Mapped[int]
    extra_attempts: Mapped[int]
    begins_at: Mapped[datetime]
    ends_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(String(MAX_NOTE))
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]


@dataclass(frozen=True, slots=True)
class Allowance:
    """When work of one student is due and no longer taken, and how many attempts they have.

    ``moved``: the due date is not that of the class. ``owed``: it is missing if nothing comes.
    ``time_factor`` stretches the minutes of a supervised sitting.
    """

    due_at: datetime
    closes_at: datetime | None
    attempts: int | None
    moved: bool = False
    owed: bool = True
    time_factor: float = 1.0


def select_allowances() -> Select[*tuple[Any, ...]]:
    """Return the query of what ``allowances_from`` needs, a row or more for each student."""
    return (
        select(
            Assignment.id.label("assignment_id"),
            Assignment.opens_at,
            Assignment.due_at,
            Assignment.closes_at,
            Assignment.attempts,
            Enrolment.user_id,
            Enrolment.role,
            Enrolment.owes_from,
            Enrolment.due_until,
            Extension.due_at.label("extended"),
            Accommodation.time_factor,
            Accommodation.extra_days,
            Accommodation.extra_attempts,
        )
        .join(Enrolment, Enrolment.section_id == Assignment.section_id)
        .outerjoin(
            Extension,
            (Extension.assignment_id == Assignment.id) & (Extension.user_id == Enrolment.user_id),
        )
        .outerjoin(
            Accommodation,
            (Accommodation.user_id == Enrolment.user_id)
            & (Accommodation.begins_at <= Assignment.due_at)
            & (Accommodation.ends_at >= Assignment.due_at),
        )
        .where(Enrolment.role.in_(KEEPS_WORK))
    )


def allowances_from(rows: Iterable[Row[Any]], zone: ZoneInfo) -> dict[tuple[int, int], Allowance]:
    """Return allowances by assignment and student."""
    found: dict[tuple[int, int], list[Row[Any]]] = defaultdict(list)
    for row in rows:
        found[row.assignment_id, row.user_id].append(row)
    return {place: _allowance(own, zone) for place, own in found.items()}


def special_allowances(
    session: Session, assignment_ids: Collection[int], user_id: int | None = None
) -> dict[tuple[int, int], Allowance]:
    """Return the allowances of students for whom something else holds than for the class."""
    query = select_allowances().where(
        Assignment.id.in_(assignment_ids),
        or_(
            Extension.user_id.is_not(None),
            Accommodation.id.is_not(None),
            Enrolment.owes_from.is_not(None),
            Enrolment.due_until.is_not(None),
            Enrolment.role == SectionRole.WITHDRAWN,
        ),
    )
    if user_id is not None:
        query = query.where(Enrolment.user_id == user_id)
    rows = session.execute(query).all()
    zone = time_zone(session) if any(row.extra_days for row in rows) else UTC_ZONE
    return allowances_from(rows, zone)


def allowance_of(session: Session, assignment: Assignment, user_id: int) -> Allowance:
    """Return what holds for one person at an assignment; for most, what holds for the class."""
    special = special_allowances(session, [assignment.id], user_id)
    return special.get(
        (assignment.id, user_id),
        Allowance(assignment.due_at, assignment.closes_at, assignment.attempts),
    )


def accommodations_of(session: Session, user_id: int) -> list[Accommodation]:
    """Return the profiles of a student, the newest first."""
    query = select(Accommodation).where(Accommodation.user_id == user_id)
    return list(session.scalars(query.order_by(Accommodation.ends_at.desc(), Accommodation.id)))


def _allowance(rows: Collection[Row[Any]], zone: ZoneInfo) -> Allowance:
    """Return what the rows of one student at one assignment give; of several profiles the most."""
    row = next(iter(rows))
    due_at = row.due_at
    factor = max(each.time_factor or 1.0 for each in rows)
    if row.due_at - row.opens_at <= TIMED:
        due_at = row.opens_at + (row.due_at - row.opens_at) * factor
    elif days := max(each.extra_days or 0 for each in rows):
        # On the same clock, whatever was set forward or back meanwhile.
        due_at = (row.due_at.astimezone(zone) + timedelta(days=days)).astimezone(row.due_at.tzinfo)
    closes_at = row.closes_at
    if closes_at is not None:
        closes_at += due_at - row.due_at
    due_at = max(each for each in (due_at, row.extended, row.due_until) if each is not None)
    return Allowance(
        due_at,
        None if closes_at is None else max(closes_at, due_at),
        None
        if row.attempts is None
        else row.attempts + max(each.extra_attempts or 0 for each in rows),
        moved=due_at != row.due_at,
        owed=row.role is not SectionRole.WITHDRAWN
        and (row.owes_from is None or row.opens_at >= row.owes_from),
        time_factor=factor,
    )
