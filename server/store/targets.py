"""What the department wants reached of each outcome of a course."""

from dataclasses import dataclass

from sqlalchemy import CheckConstraint, ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base


@dataclass(frozen=True, slots=True)
class Target:
    """A student has reached an outcome with ``level`` of its points; ``share`` of them should."""

    level: float = 0.7
    share: float = 0.8


class OutcomeTarget(Base):
    """A target that the department has set; others are ``Target()``. Both are 0 to 1."""

    __tablename__ = "outcome_targets"
    __table_args__ = (
        CheckConstraint("level >= 0 AND level <= 1", name="level_is_a_share"),
        CheckConstraint("share >= 0 AND share <= 1", name="share_is_a_share"),
    )

    course_id: Mapped[int] = mapped_column(
        ForeignKey("courses.id", ondelete="CASCADE"), primary_key=True
    )
    outcome: Mapped[str] = mapped_column(String(80), primary_key=True)
    level: Mapped[float]
    share: Mapped[float]


def targets_of(session: Session, course_id: int) -> dict[str, Target]:
    """Targets that were set, by outcome."""
    rows = session.scalars(select(OutcomeTarget).where(OutcomeTarget.course_id == course_id))
    return {row.outcome: Target(row.level, row.share) for row in rows}


def set_target(session: Session, course_id: int, outcome: str, target: Target) -> None:
    session.merge(
        OutcomeTarget(course_id=course_id, outcome=outcome, level=target.level, share=target.share)
    )
    session.flush()
