"""Who has signed the figures of a course in a term, and whether they are still those figures."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base

MAX_REMARKS = 2000
MAX_CAPACITY = 120


class ReportSignature(Base):
    """A person's word that they have read the figures; it is never changed.

    ``name`` and ``capacity`` are as they were on that day. ``figures`` is a hash of the tables of
    the report, so that a later change of them shows.
    """

    __tablename__ = "report_signatures"

    id: Mapped[int] = mapped_column(primary_key=True)
    course_id: Mapped[int] = mapped_column(ForeignKey("courses.id", ondelete="CASCADE"), index=True)
    term_id: Mapped[int] = mapped_column(ForeignKey("terms.id"), index=True)
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    name: Mapped[str] = mapped_column(String(200))
    capacity: Mapped[str] = mapped_column(String(MAX_CAPACITY))
    remarks: Mapped[str] = mapped_column(String(MAX_REMARKS))
    figures: Mapped[str] = mapped_column(String(64))
    at: Mapped[datetime]


def sign_report(session: Session, signature: ReportSignature) -> None:
    session.add(signature)
    session.flush()


def signatures_of(session: Session, course_id: int, term_id: int) -> Sequence[ReportSignature]:
    """Return the signatures under a report, the oldest first."""
    return session.scalars(
        select(ReportSignature)
        .where(ReportSignature.course_id == course_id, ReportSignature.term_id == term_id)
        .order_by(ReportSignature.at, ReportSignature.id)
    ).all()
