"""What people ask an instructor to correct in their records, and the answers."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import ForeignKey, String, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import Section
from server.store.database import Base
from server.store.people import User

MAX_TEXT = 1000
MAX_OPEN = 5
"""Requests of one person that wait for an answer."""


class CorrectionRequest(Base):
    """Something in a section's records that a person says is wrong; answered or open."""

    __tablename__ = "correction_requests"

    id: Mapped[int] = mapped_column(primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    section_id: Mapped[int] = mapped_column(
        ForeignKey("sections.id", ondelete="CASCADE"), index=True
    )
    text: Mapped[str] = mapped_column(String(MAX_TEXT))
    asked_at: Mapped[datetime]
    answer: Mapped[str] = mapped_column(String(MAX_TEXT), default="")
    answered_at: Mapped[datetime | None]
    answered_by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )

    section: Mapped[Section] = relationship(lazy="joined", innerjoin=True)
    user: Mapped[User] = relationship(foreign_keys=user_id)
    answered_by: Mapped[User | None] = relationship(foreign_keys=answered_by_id)


def ask_for_correction(
    session: Session, user_id: int, section_id: int, text: str, now: datetime
) -> str:
    """Ask the instructors of a section; return the sentence that refuses it, empty if it is done.

    The person must be in the section.
    """
    if not text:
        return "The request is empty. Write what is wrong, and what would be right."
    waiting = session.scalar(
        select(func.count())
        .select_from(CorrectionRequest)
        .where(CorrectionRequest.user_id == user_id, CorrectionRequest.answered_at.is_(None))
    )
    if (waiting or 0) >= MAX_OPEN:
        return f"{MAX_OPEN} of your requests wait for an answer. Ask again when one is answered."
    session.add(CorrectionRequest(user_id=user_id, section_id=section_id, text=text, asked_at=now))
    note(session, now, user_id, Action.ASKED_CORRECTION, section_id, person_id=user_id)
    return ""


def requests_by(session: Session, user_id: int) -> Sequence[CorrectionRequest]:
    """Return what a person asked for, the newest first."""
    return session.scalars(
        select(CorrectionRequest)
        .where(CorrectionRequest.user_id == user_id)
        .order_by(CorrectionRequest.id.desc())
    ).all()


def open_requests(session: Session, section_id: int) -> Sequence[CorrectionRequest]:
    """Return what waits for an answer in a section, the oldest first."""
    return session.scalars(
        select(CorrectionRequest)
        .where(CorrectionRequest.section_id == section_id, CorrectionRequest.answered_at.is_(None))
        .order_by(CorrectionRequest.id)
    ).all()


def answer_request(
    session: Session, section_id: int, request_id: int, answer: str, *, by_id: int, now: datetime
) -> bool:
    """Answer a request of the section; False if it has none of this number that waits."""
    found = session.get(CorrectionRequest, request_id)
    if found is None or found.section_id != section_id or found.answered_at is not None:
        return False
    found.answer, found.answered_at, found.answered_by_id = answer, now, by_id
    note(session, now, by_id, Action.ANSWERED_CORRECTION, section_id, person_id=found.user_id)
    return True
