"""Sittings: the time in which a student works on a supervised assignment.

A sitting begins once, with the room's pass-code, in one browser, and goes on at the server whatever
becomes of the connection. While it lasts, its student has nothing else to look at: neither other
exercises nor earlier programs. ``supervised_labs`` begins sittings and ends them.
"""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import ForeignKey, String, bindparam, select
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from server.store.allowances import allowance_of
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import (
    HANDING_IN,
    TEACHING,
    Assignment,
    Enrolment,
    SectionRole,
    lock_work,
    role_in_section,
)
from server.store.database import Base
from server.store.join_codes import LETTERS

MAX_SEAT = 40
CODE_LENGTH = 6

SEEN_EVERY = timedelta(seconds=10)
"""So often a sign of life is written down."""


class Sitting(Base):
    """One student's sitting at a supervised assignment.

    ``seat`` is where they say they sit, ``session_hash`` the session of the one browser in which
    they may work. ``ends_at`` is the earlier of two moments: their minutes (stretched by an
    accommodation, and ``more_seconds`` longer or shorter) are over, or the assignment is due for
    them. It is ``closed`` once what there was to submit at its end is submitted.
    """

    __tablename__ = "sittings"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    seat: Mapped[str] = mapped_column(String(MAX_SEAT))
    session_hash: Mapped[str] = mapped_column(String(64))
    begun_at: Mapped[datetime]
    ends_at: Mapped[datetime] = mapped_column(index=True)
    seen_at: Mapped[datetime]
    more_seconds: Mapped[int] = mapped_column(default=0)
    closed: Mapped[bool] = mapped_column(default=False)


class SittingOver(Exception):
    """A sitting ended between the look at the door and the moment of storing: nothing is stored."""


class AssignmentFor(NamedTuple):
    """An assignment as one person meets it; ``sitting`` is the one they are in, anywhere."""

    assignment: Assignment
    role: SectionRole | None
    sitting: Sitting | None


_lab, _place = aliased(Assignment), aliased(Enrolment)
_STILL_A_STUDENT = (
    select(_lab.id)
    .join(_place, _place.section_id == _lab.section_id)
    .where(
        _lab.id == Sitting.assignment_id,
        _place.user_id == Sitting.user_id,
        _place.role.in_(HANDING_IN),
    )
    .correlate(Sitting)
    .exists()
)
"""Whoever leaves the section can't go on, and must not be kept from all other work."""

_ASSIGNMENT_FOR = (
    select(Assignment, Enrolment, Sitting)
    .outerjoin(
        Enrolment,
        (Enrolment.section_id == Assignment.section_id)
        & (Enrolment.user_id == bindparam("user_id")),
    )
    .outerjoin(
        Sitting,
        (Sitting.user_id == bindparam("user_id"))
        & (Sitting.ends_at > bindparam("now"))
        & _STILL_A_STUDENT,
    )
    .where(Assignment.id == bindparam("assignment_id"))
)


def find_assignment_for(
    session: Session, assignment_id: int, user_id: int, now: datetime
) -> AssignmentFor | None:
    """Return an assignment, the user's role in its section and their sitting, in one statement."""
    found = session.execute(
        _ASSIGNMENT_FOR, {"assignment_id": assignment_id, "user_id": user_id, "now": now}
    ).first()
    if found is None:
        return None
    assignment, enrolment, sitting = found
    return AssignmentFor(assignment, enrolment.role if enrolment else None, sitting)


def sitting_of(session: Session, assignment_id: int, user_id: int) -> Sitting | None:
    """Return a student's sitting at an assignment, over or not."""
    return session.get(Sitting, (assignment_id, user_id))


def seconds_left(sitting: Sitting, now: datetime) -> int:
    """Return the whole seconds that a sitting still has; 0 when it is over."""
    return max(0, int((sitting.ends_at - now).total_seconds()))


def sitting_now(session: Session, user_id: int, now: datetime) -> Sitting | None:
    """Return the sitting that somebody is in."""
    return session.scalar(
        select(Sitting).where(Sitting.user_id == user_id, Sitting.ends_at > now, _STILL_A_STUDENT)
    )


def somebody_sits(session: Session, assignment: Assignment) -> bool:
    """Return whether an assignment has a sitting that is not closed."""
    sitting = select(Sitting).where(
        Sitting.assignment_id == assignment.id, Sitting.closed.is_(False)
    )
    return session.scalar(select(sitting.exists())) is True


def sitting_sessions(
    session: Session, user_ids: Collection[int], now: datetime
) -> dict[int, tuple[int, str]]:
    """Return where these people sit now, by user: the assignment and the session."""
    found = session.scalars(
        select(Sitting).where(
            Sitting.user_id.in_(user_ids), Sitting.ends_at > now, _STILL_A_STUDENT
        )
    )
    return {each.user_id: (each.assignment_id, each.session_hash) for each in found}


def sits_at(session: Session, assignment: Assignment, user_id: int) -> bool:
    """Return whether somebody works on an assignment in a sitting, as who teaches it does not."""
    return (
        assignment.is_supervised
        and role_in_section(session, user_id, assignment.section_id) not in TEACHING
    )


def demand_sitting(session: Session, assignment: Assignment, user_id: int, now: datetime) -> None:
    """Raise SittingOver where a student works on a supervised assignment without a sitting."""
    if not assignment.is_supervised:
        return
    # What closes a sitting holds this lock, too: the step is in what it submits, or comes too late.
    enrolment = lock_work(session, assignment, user_id)
    if enrolment is not None and enrolment.role in TEACHING:
        return
    # Another unit of work may have ended it since it was read.
    sitting = session.get(Sitting, (assignment.id, user_id), populate_existing=True)
    if sitting is None or sitting.closed or now >= sitting.ends_at:
        raise SittingOver


def new_pass_code(
    session: Session, assignment: Assignment, *, by_id: int | None, now: datetime
) -> str:
    """Give a supervised assignment a new pass-code; who sits already is not affected."""
    assignment.pass_code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
    session.flush()
    if by_id is not None:
        note(
            session,
            now,
            by_id,
            Action.MADE_PASS_CODE,
            assignment.section_id,
            assignment_id=assignment.id,
        )
    return assignment.pass_code


def retime_sittings(session: Session, assignment: Assignment, user_id: int | None = None) -> None:
    """Bring the ends of sittings up to date after what holds for them was changed."""
    if not assignment.is_supervised:
        return
    session.flush()
    query = select(Sitting).where(Sitting.assignment_id == assignment.id, Sitting.closed.is_(False))
    if user_id is not None:
        query = query.where(Sitting.user_id == user_id)
    # One that another unit of work closes meanwhile stays closed.
    for each in session.scalars(query.with_for_update()):
        each.ends_at = end_of(session, assignment, each)
    session.flush()


def end_at(session: Session, assignment: Assignment, sitting: Sitting, ends_at: datetime) -> None:
    """Let a sitting end at a moment, whatever its minutes are."""
    minutes = _minutes_over(session, assignment, sitting)
    sitting.more_seconds = round((ends_at - minutes).total_seconds())
    sitting.ends_at = ends_at


def end_of(session: Session, assignment: Assignment, sitting: Sitting) -> datetime:
    """Return when a sitting ends by what holds for its student now."""
    due_at = allowance_of(session, assignment, sitting.user_id).due_at
    minutes = _minutes_over(session, assignment, sitting)
    return min(minutes + timedelta(seconds=sitting.more_seconds), due_at)


def _minutes_over(session: Session, assignment: Assignment, sitting: Sitting) -> datetime:
    """Return when the minutes of the lab are over, as the student has them."""
    factor = allowance_of(session, assignment, sitting.user_id).time_factor
    return sitting.begun_at + timedelta(minutes=assignment.sitting_minutes or 0) * factor
