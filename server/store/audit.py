"""Who saw and who changed grades, and who opened which account: a line for each time.

A line is kept as long as its section is; a line about the whole college has no section.

Lines name people by id only, so that nothing of an erased student is left in them.
"""

from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.courses import Assignment
from server.store.database import Base
from server.store.people import User


class GradeAction(StrEnum):
    """What somebody did with grades."""

    SAW_GRADEBOOK = "saw gradebook"
    SAW_STUDENT = "saw student"
    SAW_SUBMISSION = "saw submission"
    SAW_LIKENESS = "saw likeness"
    TOOK_FILE = "took a file"
    SET_POINTS = "set points"
    TOOK_BACK = "took points back"
    WROTE_COMMENT = "wrote comment"
    GAVE_TIME = "gave time"
    CHANGED_POLICY = "changed policy"
    MADE_LINK = "made password link"
    USED_LINK = "used password link"
    LINK_EXPIRED = "link expired"
    CLAIMED_ACCOUNT = "claimed account"


SEEING = frozenset(
    {
        GradeAction.SAW_GRADEBOOK,
        GradeAction.SAW_STUDENT,
        GradeAction.SAW_SUBMISSION,
        GradeAction.SAW_LIKENESS,
    }
)

ONE_LOOK = timedelta(minutes=10)
"""Looks at the same thing within this time are one line."""


class GradeEvent(Base):
    """One line of the log. ``actor_id`` and ``student_id`` are None once the person is erased."""

    __tablename__ = "grade_events"

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(index=True)
    actor_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    section_id: Mapped[int | None] = mapped_column(
        ForeignKey("sections.id", ondelete="CASCADE"), index=True
    )
    assignment_id: Mapped[int | None] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), index=True
    )
    student_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    action: Mapped[GradeAction]
    detail: Mapped[str] = mapped_column(String(200), default="")


def note(
    session: Session,
    now: datetime,
    actor_id: int | None,
    action: GradeAction,
    section_id: int | None,
    *,
    assignment_id: int | None = None,
    student_id: int | None = None,
    detail: str = "",
) -> None:
    """Write a line; a look at what the same person has just looked at is not written again."""
    event = GradeEvent(
        at=now,
        actor_id=actor_id,
        action=action,
        section_id=section_id,
        assignment_id=assignment_id,
        student_id=student_id,
        detail=detail[:200],
    )
    if action not in SEEING or not _noted(session, event):
        session.add(event)


def _noted(session: Session, event: GradeEvent) -> bool:
    query = select(GradeEvent.id).where(
        GradeEvent.at > event.at - ONE_LOOK,
        GradeEvent.actor_id == event.actor_id,
        GradeEvent.action == event.action,
        GradeEvent.section_id == event.section_id,
        GradeEvent.assignment_id == event.assignment_id,
        GradeEvent.student_id == event.student_id,
        GradeEvent.detail == event.detail,
    )
    return session.scalar(query.limit(1)) is not None


def events_of(
    session: Session, section_id: int, student_id: int | None = None, limit: int = 200
) -> list[tuple[GradeEvent, str, str, str]]:
    """The newest lines of a section: event, who, about whom, title of the assignment."""
    actor = select(User.id, User.listed_as).subquery()
    student = select(User.id, User.listed_as).subquery()
    query = (
        select(GradeEvent, actor.c.listed_as, student.c.listed_as, Assignment.title)
        .outerjoin(actor, actor.c.id == GradeEvent.actor_id)
        .outerjoin(student, student.c.id == GradeEvent.student_id)
        .outerjoin(Assignment, Assignment.id == GradeEvent.assignment_id)
        .where(GradeEvent.section_id == section_id)
        .order_by(GradeEvent.id.desc())
        .limit(limit)
    )
    if student_id is not None:
        query = query.where(GradeEvent.student_id == student_id)
    return [
        (event, who or "erased", whom or "", title or "")
        for event, who, whom, title in session.execute(query)
    ]
