"""What a teacher adds to a verdict: points set by hand, excuses, comments, that points stay."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, bindparam, func, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.attempts import StoredVerdict, Submission
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import Assignment, partner_of
from server.store.database import Base
from server.store.mail_outbox import MailKind, queue_mail
from server.store.people import User

MAX_REASON = 500
MAX_COMMENT = 2000


class Override(Base):
    """Points that count for a student in place of the marked ones, and why."""

    __tablename__ = "overrides"
    __table_args__ = (CheckConstraint("points >= 0", name="points_not_negative"),)

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    points: Mapped[float]
    reason: Mapped[str] = mapped_column(String(MAX_REASON))
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]


class Excuse(Base):
    """An exercise that counts nothing for a student, whatever they hand in, and why."""

    __tablename__ = "excuses"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    reason: Mapped[str] = mapped_column(String(MAX_REASON))
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]


class SecondLookDecision(Base):
    """A teacher has taken the second look at a program, and its points stay as they are."""

    __tablename__ = "second_look_decisions"

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), primary_key=True
    )
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]

    by: Mapped[User | None] = relationship(lazy="joined")


class RungComment(Base):
    """A teacher's comment on a submitted program; ``rung`` from 0, None for the whole."""

    __tablename__ = "rung_comments"

    id: Mapped[int] = mapped_column(primary_key=True)
    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), index=True
    )
    rung: Mapped[int | None]
    text: Mapped[str] = mapped_column(String(MAX_COMMENT))
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]

    by: Mapped[User | None] = relationship(lazy="joined")


def set_points(
    session: Session,
    assignment: Assignment,
    user_id: int,
    points: float,
    reason: str,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Let these points count for the student until they are taken back."""
    override = find_override(session, assignment.id, user_id)
    if override is None:
        override = Override(assignment_id=assignment.id, user_id=user_id)
        session.add(override)
    override.points, override.reason, override.by_id, override.at = points, reason, by_id, now
    note(
        session,
        now,
        by_id,
        Action.SET_POINTS,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=user_id,
        detail=f"{points:g} points: {reason}",
    )
    session.flush()


def remove_override(
    session: Session, assignment: Assignment, user_id: int, *, by_id: int, now: datetime
) -> None:
    """Let the marked points count again; nothing happens if they do."""
    override = find_override(session, assignment.id, user_id)
    if override is None:
        return
    session.delete(override)
    note(
        session,
        now,
        by_id,
        Action.TOOK_BACK,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=user_id,
        detail=f"from {override.points:g}",
    )
    session.flush()


def excuse(
    session: Session,
    assignment: Assignment,
    user_id: int,
    reason: str,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Let the exercise count nothing for the student until that is taken back."""
    session.merge(
        Excuse(assignment_id=assignment.id, user_id=user_id, reason=reason, by_id=by_id, at=now)
    )
    note(
        session,
        now,
        by_id,
        Action.EXCUSED,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=user_id,
        detail=reason,
    )
    session.flush()


def remove_excuse(
    session: Session, assignment: Assignment, user_id: int, *, by_id: int, now: datetime
) -> None:
    """Let the exercise count for the student again; nothing happens if it does."""
    found = session.get(Excuse, (assignment.id, user_id))
    if found is None:
        return
    session.delete(found)
    note(
        session,
        now,
        by_id,
        Action.NO_LONGER_EXCUSED,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=user_id,
    )
    session.flush()


def keep_points(session: Session, submission: Submission, *, by_id: int, now: datetime) -> None:
    """Decide after the second look that the points stay."""
    session.merge(SecondLookDecision(submission_id=submission.id, by_id=by_id, at=now))
    note(
        session,
        now,
        by_id,
        Action.KEPT_POINTS,
        submission.assignment.section_id,
        assignment_id=submission.assignment_id,
        person_id=submission.user_id,
        detail=f"attempt {submission.attempt}, after a second look",
    )
    session.flush()


def decision_on(session: Session, submission: Submission) -> SecondLookDecision | None:
    """Return the decision on the verdict as it is, None if it is due or was made on another."""
    found = session.get(SecondLookDecision, submission.id)
    verdict = submission.verdict
    return found if found and verdict and found.at >= verdict.marked_at else None


def awaiting_second_look(session: Session, submission_ids: Collection[int]) -> set[int]:
    """Return those of the submissions at which a teacher has yet to take the second look."""
    undecided = or_(
        SecondLookDecision.submission_id.is_(None),
        SecondLookDecision.at < StoredVerdict.marked_at,
    )
    return set(
        session.scalars(
            select(StoredVerdict.submission_id)
            .outerjoin(
                SecondLookDecision,
                SecondLookDecision.submission_id == StoredVerdict.submission_id,
            )
            .where(
                StoredVerdict.submission_id.in_(submission_ids),
                func.json_array_length(StoredVerdict.document["second_look"]) > 0,
                undecided,
            )
        )
    )


def find_override(session: Session, assignment_id: int, user_id: int) -> Override | None:
    return session.get(Override, (assignment_id, user_id))


def comment(
    session: Session,
    submission: Submission,
    rung: int | None,
    text: str,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Add a comment that the author of the program sees beside its rung."""
    row = RungComment(submission_id=submission.id, rung=rung, text=text, by_id=by_id, at=now)
    session.add(row)
    session.flush()
    partner_id = partner_of(session, submission.assignment, submission.user_id)
    readers = [id for id in (submission.user_id, partner_id) if id is not None]
    path = f"/submissions/{submission.id}"
    queue_mail(session, MailKind.COMMENT, submission.assignment, readers, str(row.id), path, now)
    note(
        session,
        now,
        by_id,
        Action.WROTE_COMMENT,
        submission.assignment.section_id,
        assignment_id=submission.assignment_id,
        person_id=submission.user_id,
        detail="whole program" if rung is None else f"rung {rung + 1}",
    )
    session.flush()


_COMMENTS = (
    select(RungComment)
    .where(RungComment.submission_id == bindparam("submission_id"))
    .order_by(RungComment.rung.is_(None), RungComment.rung, RungComment.id)
)


def comments_on(session: Session, submission_id: int) -> list[RungComment]:
    """Return comments on a submission, by rung and then by time."""
    return list(session.scalars(_COMMENTS, {"submission_id": submission_id}))
