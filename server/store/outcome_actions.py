"""What the department does about an outcome below its target, and what came of it in a later term.

The figures of a finding are kept as they were on that day: work that is marked again later does not
change what was decided on.
"""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.courses import Term
from server.store.database import Base
from server.store.outcomes import MAX_OUTCOME
from server.store.people import User

MAX_TEXT = 2000


class OutcomeAction(Base):
    """A finding about an outcome in a term, and an action that answers it.

    ``reached`` of ``students`` had reached it, where the target was ``share`` of them. The action
    is closed by a ``result`` in a later term, ``result_term``; until then that is None.
    """

    __tablename__ = "outcome_actions"
    __table_args__ = (CheckConstraint("reached <= students", name="reached_by_students"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    course_id: Mapped[int] = mapped_column(ForeignKey("courses.id", ondelete="CASCADE"), index=True)
    outcome: Mapped[str] = mapped_column(String(MAX_OUTCOME))
    term_id: Mapped[int] = mapped_column(ForeignKey("terms.id"), index=True)
    students: Mapped[int]
    reached: Mapped[int]
    share: Mapped[float]
    finding: Mapped[str] = mapped_column(String(MAX_TEXT))
    action: Mapped[str] = mapped_column(String(MAX_TEXT))
    responsible: Mapped[str] = mapped_column(String(200))
    due: Mapped[date]
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]
    result: Mapped[str] = mapped_column(String(MAX_TEXT), default="")
    result_term_id: Mapped[int | None] = mapped_column(ForeignKey("terms.id"), index=True)
    closed_by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    closed_at: Mapped[datetime | None]

    term: Mapped[Term] = relationship(foreign_keys=[term_id], lazy="joined", innerjoin=True)
    result_term: Mapped[Term | None] = relationship(foreign_keys=[result_term_id], lazy="joined")
    by: Mapped[User | None] = relationship(foreign_keys=[by_id], lazy="joined")
    closed_by: Mapped[User | None] = relationship(foreign_keys=[closed_by_id], lazy="joined")

    def is_overdue(self, today: date) -> bool:
        return self.closed_at is None and self.due < today


def actions_of(session: Session, course_id: int) -> Sequence[OutcomeAction]:
    """Return the actions of a course: open ones first, by the day on which they are due."""
    return session.scalars(
        select(OutcomeAction)
        .where(OutcomeAction.course_id == course_id)
        .order_by(OutcomeAction.closed_at.is_not(None), OutcomeAction.due, OutcomeAction.id)
    ).all()


def find_action(session: Session, course_id: int, action_id: int) -> OutcomeAction | None:
    """Return an action of this course, None if it has no such."""
    found = session.get(OutcomeAction, action_id)
    return found if found is not None and found.course_id == course_id else None


def store_action(session: Session, action: OutcomeAction) -> None:
    session.add(action)
    session.flush()


def close_action(
    session: Session,
    action: OutcomeAction,
    result: str,
    term: Term,
    *,
    by_id: int,
    now: datetime,
) -> str:
    """Note what came of an action in a later term; return a sentence if the term is not later."""
    if term.begins <= action.term.begins:
        return (
            f"{term.name} is not later than {action.term.name}, the term of the finding. "
            "Choose a later term."
        )
    action.result, action.result_term = result, term
    action.closed_by_id, action.closed_at = by_id, now
    session.flush()
    return ""


def reopen_action(session: Session, action: OutcomeAction) -> None:
    """Take the result of an action back."""
    action.result, action.result_term = "", None
    action.closed_by_id = action.closed_at = None
    session.flush()
