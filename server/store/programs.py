"""The program a student works on: the current state and the steps back and forth from it.

Every state is one row of history that is never changed; the working program points at one of
them. A change is refused when the sender did not know the newest state, so that two windows never
overwrite each other.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import (
    ForeignKey,
    UniqueConstraint,
    bindparam,
    delete,
    func,
    insert,
    or_,
    select,
    update,
)
from sqlalchemy.orm import Mapped, Session, aliased, mapped_column

from server.store.courses import Assignment, lock_work
from server.store.database import Base, Document, send
from server.store.sittings import demand_sitting

STEPS_KEPT = 100


class WorkingProgram(Base):
    """Where a user stands with an assignment. ``revision`` grows with every change, undo too."""

    __tablename__ = "working_programs"
    __table_args__ = (UniqueConstraint("assignment_id", "user_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assignment_id: Mapped[int] = mapped_column(ForeignKey("assignments.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    revision: Mapped[int]
    position: Mapped[int]
    saved_at: Mapped[datetime]


class ProgramStep(Base):
    """One state of a working program; positions run from its start without a gap."""

    __tablename__ = "program_steps"

    working_program_id: Mapped[int] = mapped_column(
        ForeignKey("working_programs.id", ondelete="CASCADE"), primary_key=True
    )
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    program: Mapped[Document]
    saved_at: Mapped[datetime | None]
    """None of what the exercise gave, and of steps from before times were kept."""


@dataclass(frozen=True, slots=True)
class WorkingCopy:
    """What a page needs of a working program; revision 0 means that nothing is saved yet."""

    program: Document
    revision: int
    can_undo: bool
    can_redo: bool
    saved_at: datetime | None


@dataclass(frozen=True, slots=True)
class Stale:
    """A change was refused: it was made on an older state than ``current``."""

    current: WorkingCopy


def working_copy(
    session: Session, assignment: Assignment, user_id: int, start: Document
) -> WorkingCopy:
    """Return the user's program for this assignment; before any, ``start`` of the exercise."""
    copy = _copy(session, assignment, user_id)
    return copy or WorkingCopy(start, 0, can_undo=False, can_redo=False, saved_at=None)


def steps_of(
    session: Session, assignment: Assignment, user_id: int
) -> list[tuple[int, datetime | None]]:
    """Return position and time of each other state that undo or redo leads to, newest first."""
    work = _find(session, assignment, user_id)
    if work is None:
        return []
    found = session.execute(
        select(ProgramStep.position, ProgramStep.saved_at)
        .where(ProgramStep.working_program_id == work.id, ProgramStep.position != work.position)
        .order_by(ProgramStep.position.desc())
    )
    return [(position, saved_at) for position, saved_at in found]


def find_step(
    session: Session, assignment: Assignment, user_id: int, position: int
) -> ProgramStep | None:
    """Return one state of the user's working program."""
    work = _find(session, assignment, user_id)
    return session.get(ProgramStep, (work.id, position)) if work else None


REVISION = (
    select(WorkingProgram.revision)
    .where(
        WorkingProgram.assignment_id == bindparam("assignment_id"),
        WorkingProgram.user_id == bindparam("user_id"),
    )
    .scalar_subquery()
)
"""The revision of ``working_copy`` alone, as a column; null before anything is saved."""


def state_before(session: Session, assignment: Assignment, user_id: int) -> Document | None:
    """Return the state that one step back leads to; None if there is none."""
    work = _find(session, assignment, user_id)
    step = find_step(session, assignment, user_id, work.position - 1) if work else None
    return step.program if step else None


_ADVANCE = (
    update(WorkingProgram)
    .where(
        WorkingProgram.assignment_id == bindparam("of_assignment"),
        WorkingProgram.user_id == bindparam("of_user"),
        WorkingProgram.revision == bindparam("seen"),
    )
    .values(
        revision=WorkingProgram.revision + 1,
        position=WorkingProgram.position + 1,
        saved_at=bindparam("now"),
    )
    .returning(WorkingProgram.id, WorkingProgram.position)
)
_FORGET = delete(ProgramStep).where(
    ProgramStep.working_program_id == bindparam("work"),
    or_(
        # Steps that were undone, and the oldest one.
        ProgramStep.position >= bindparam("next"),
        ProgramStep.position < bindparam("oldest"),
    ),
)
_KEEP = insert(ProgramStep)


def save_program(
    session: Session,
    assignment: Assignment,
    user_id: int,
    program: Document,
    *,
    revision: int,
    start: Document,
    now: datetime,
) -> WorkingCopy | Stale:
    """Make ``program`` the newest state; steps that were undone before are given up.

    ``revision`` is the one the sender saw; ``start`` becomes the state that the first undo
    leads back to. Raises SittingOver where a sitting is, and so the time to change anything.
    """
    demand_sitting(session, assignment, user_id, now)
    values = {"of_assignment": assignment.id, "of_user": user_id, "seen": revision, "now": now}
    # It locks the row, and finds none that has another revision.
    moved = send(session, _ADVANCE, values).one_or_none()
    if moved is None:
        work = _locked(session, assignment, user_id)
        if revision != (work.revision if work else 0):
            return Stale(working_copy(session, assignment, user_id, start))
        if work is None:
            _begin(session, assignment, user_id, start, now)
        moved = send(session, _ADVANCE, values).one()
    here = {"work": moved.id, "next": moved.position, "oldest": moved.position - STEPS_KEPT}
    send(session, _FORGET, here)
    step = {
        "working_program_id": moved.id,
        "position": moved.position,
        "program": program,
        "saved_at": now,
    }
    send(session, _KEEP, step)
    return WorkingCopy(program, revision + 1, can_undo=True, can_redo=False, saved_at=now)


def _begin(
    session: Session, assignment: Assignment, user_id: int, start: Document, now: datetime
) -> None:
    work = WorkingProgram(
        assignment_id=assignment.id, user_id=user_id, revision=0, position=0, saved_at=now
    )
    session.add(work)
    session.flush()
    session.add(ProgramStep(working_program_id=work.id, position=0, program=start))


def undo(
    session: Session, assignment: Assignment, user_id: int, *, revision: int, now: datetime
) -> WorkingCopy | Stale | None:
    """Go one step back; None if there is none to go to."""
    return _step(session, assignment, user_id, -1, revision, now)


def redo(
    session: Session, assignment: Assignment, user_id: int, *, revision: int, now: datetime
) -> WorkingCopy | Stale | None:
    """Take one step forward again; None if there is none to go to."""
    return _step(session, assignment, user_id, 1, revision, now)


def _step(
    session: Session,
    assignment: Assignment,
    user_id: int,
    by: int,
    revision: int,
    now: datetime,
) -> WorkingCopy | Stale | None:
    demand_sitting(session, assignment, user_id, now)
    work = _locked(session, assignment, user_id)
    if work is None:
        return None
    if revision != work.revision:
        return Stale(_copied(session, assignment, user_id))
    if session.get(ProgramStep, (work.id, work.position + by)) is None:
        return None
    _move(work, work.position + by, now)
    session.flush()
    return _copied(session, assignment, user_id)


def _move(work: WorkingProgram, position: int, now: datetime) -> None:
    work.position = position
    work.revision += 1
    work.saved_at = now


def _locked(session: Session, assignment: Assignment, user_id: int) -> WorkingProgram | None:
    """Return the row with its lock; where there is none yet, the lock of the user's work."""
    work = _find(session, assignment, user_id, lock=True)
    if work is None:
        lock_work(session, assignment, user_id)
        work = _find(session, assignment, user_id, lock=True)
    return work


_FIND = (
    select(WorkingProgram)
    .where(
        WorkingProgram.assignment_id == bindparam("assignment_id"),
        WorkingProgram.user_id == bindparam("user_id"),
    )
    # ``save_program`` changes the row, and not an object that was read before.
    .execution_options(populate_existing=True)
)
_FIND_AND_LOCK = _FIND.with_for_update()


def _find(
    session: Session, assignment: Assignment, user_id: int, *, lock: bool = False
) -> WorkingProgram | None:
    of_user = {"assignment_id": assignment.id, "user_id": user_id}
    return session.scalar(_FIND_AND_LOCK if lock else _FIND, of_user)


def _copied(session: Session, assignment: Assignment, user_id: int) -> WorkingCopy:
    copy = _copy(session, assignment, user_id)
    assert copy is not None, "its row is locked"
    return copy


_kept = aliased(ProgramStep)
_of_it = _kept.working_program_id == WorkingProgram.id
_COPY = (
    select(
        WorkingProgram.revision,
        WorkingProgram.position,
        WorkingProgram.saved_at,
        ProgramStep.program,
        select(func.min(_kept.position)).where(_of_it).scalar_subquery().label("first"),
        select(func.max(_kept.position)).where(_of_it).scalar_subquery().label("last"),
    )
    .join(
        ProgramStep,
        (ProgramStep.working_program_id == WorkingProgram.id)
        & (ProgramStep.position == WorkingProgram.position),
    )
    .where(
        WorkingProgram.assignment_id == bindparam("assignment_id"),
        WorkingProgram.user_id == bindparam("user_id"),
    )
)


def _copy(session: Session, assignment: Assignment, user_id: int) -> WorkingCopy | None:
    of_user = {"assignment_id": assignment.id, "user_id": user_id}
    found = send(session, _COPY, of_user).one_or_none()
    if found is None:
        return None
    return WorkingCopy(
        program=found.program,
        revision=found.revision,
        can_undo=found.position > found.first,
        can_redo=found.position < found.last,
        saved_at=found.saved_at,
    )
