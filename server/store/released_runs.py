"""Hidden runs that an instructor lets the students of a section see, by requirement.

They count only where the server finds no run of its own that breaks the requirement.
"""

from datetime import datetime

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import Assignment
from server.store.database import Base


class ReleasedRun(Base):
    """An assignment's requirement whose hidden run students may see, and who released it."""

    __tablename__ = "released_runs"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    requirement: Mapped[str] = mapped_column(String(20), primary_key=True)
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]


def released_runs(session: Session, assignment_id: int) -> set[str]:
    """Return the requirements whose hidden runs are released."""
    query = select(ReleasedRun.requirement).where(ReleasedRun.assignment_id == assignment_id)
    return set(session.scalars(query))


def release_run(
    session: Session, assignment: Assignment, requirement: str, *, by_id: int, now: datetime
) -> None:
    """Release the hidden runs of a requirement; nothing happens if they are."""
    if session.get(ReleasedRun, (assignment.id, requirement)) is None:
        row = ReleasedRun(assignment_id=assignment.id, requirement=requirement, by_id=by_id, at=now)
        session.add(row)
        _note(session, Action.RELEASED_RUN, assignment, requirement, by_id, now)


def withdraw_run(
    session: Session, assignment: Assignment, requirement: str, *, by_id: int, now: datetime
) -> None:
    """Hide the runs of a requirement again; nothing happens if they are hidden."""
    found = session.get(ReleasedRun, (assignment.id, requirement))
    if found is not None:
        session.delete(found)
        _note(session, Action.HID_RUN, assignment, requirement, by_id, now)


def _note(
    session: Session,
    action: Action,
    assignment: Assignment,
    requirement: str,
    by_id: int,
    now: datetime,
) -> None:
    section_id, assignment_id = assignment.section_id, assignment.id
    note(session, now, by_id, action, section_id, assignment_id=assignment_id, detail=requirement)
    session.flush()
