"""Versions of a program that somebody keeps under a name: to compare with, and to go back to.

They are apart from the steps of undo, which end some day; a version stays until it is forgotten.
"""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import ForeignKey, String, UniqueConstraint, delete, select
from sqlalchemy.orm import Mapped, Session, defer, mapped_column

from server.store.courses import Assignment, lock_work
from server.store.database import Base, Document

MAX_NAME = 80
MAX_VERSIONS = 50
"""Of one user at one assignment."""


class NamedVersion(Base):
    """A state of a user's program under the name that they gave it; never changed."""

    __tablename__ = "named_versions"
    __table_args__ = (UniqueConstraint("assignment_id", "user_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assignment_id: Mapped[int] = mapped_column(ForeignKey("assignments.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(MAX_NAME))
    saved_at: Mapped[datetime]
    program: Mapped[Document]


class NotNamed(StrEnum):
    """Why a version was not kept, in the words that the person reads."""

    NO_NAME = "A version needs a name. Write one."
    TAKEN = "There is a version of that name already. Choose another name, or delete that version."
    TOO_MANY = f"{MAX_VERSIONS} versions are kept already. Forget one that is not needed."


def name_version(
    session: Session,
    assignment: Assignment,
    user_id: int,
    name: str,
    program: Document,
    now: datetime,
) -> NamedVersion | NotNamed:
    """Keep ``program`` under a name of 1 to MAX_NAME characters, or say why not."""
    name = " ".join(name.split())[:MAX_NAME]
    if not name:
        return NotNamed.NO_NAME
    lock_work(session, assignment, user_id)
    kept = versions_of(session, assignment, user_id)
    if name in (version.name for version in kept):
        return NotNamed.TAKEN
    if len(kept) >= MAX_VERSIONS:
        return NotNamed.TOO_MANY
    version = NamedVersion(
        assignment_id=assignment.id, user_id=user_id, name=name, saved_at=now, program=program
    )
    session.add(version)
    session.flush()
    return version


def versions_of(session: Session, assignment: Assignment, user_id: int) -> list[NamedVersion]:
    """Return a user's versions at an assignment without their programs, the newest first."""
    return list(
        session.scalars(
            select(NamedVersion)
            .where(NamedVersion.assignment_id == assignment.id, NamedVersion.user_id == user_id)
            .options(defer(NamedVersion.program))
            .order_by(NamedVersion.saved_at.desc(), NamedVersion.id.desc())
        )
    )


def find_version(
    session: Session, assignment: Assignment, user_id: int, version_id: int
) -> NamedVersion | None:
    """Return a user's own version at this assignment."""
    version = session.get(NamedVersion, version_id)
    if version is None or (version.assignment_id, version.user_id) != (assignment.id, user_id):
        return None
    return version


def remove_version(session: Session, assignment: Assignment, user_id: int, version_id: int) -> None:
    """Delete a user's own version; nothing happens when it is not there."""
    session.execute(
        delete(NamedVersion).where(
            NamedVersion.id == version_id,
            NamedVersion.assignment_id == assignment.id,
            NamedVersion.user_id == user_id,
        )
    )
