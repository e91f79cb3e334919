"""The tables of submitted programs and of what the marking said of them."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint, func, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.marking.verdict import Status, Verdict
from server.store.courses import Assignment
from server.store.database import Base, Document, send
from server.store.people import User


class SubmissionState(StrEnum):
    """``UNMARKED`` is too large to be run in time: it has no verdict and uses no attempt."""

    QUEUED = "queued"
    MARKED = "marked"
    UNMARKED = "not marked"


class Submission(Base):
    """One attempt (from 1) of a user at an assignment; the program is never changed.

    From ``seed`` the numbers were drawn that the exercise had for its author.
    """

    __tablename__ = "submissions"
    __table_args__ = (UniqueConstraint("assignment_id", "user_id", "attempt"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assignment_id: Mapped[int] = mapped_column(ForeignKey("assignments.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    attempt: Mapped[int]
    program: Mapped[Document]
    submitted_at: Mapped[datetime]
    state: Mapped[SubmissionState] = mapped_column(index=True)
    seed: Mapped[str] = mapped_column(String(40), default="")

    assignment: Mapped[Assignment] = relationship(lazy="joined", innerjoin=True)
    user: Mapped[User] = relationship(lazy="joined", innerjoin=True)
    verdict: Mapped["StoredVerdict | None"] = relationship(lazy="joined")


class StoredVerdict(Base):
    """What one acceptance run found, and with what it can be found again.

    ``document`` is the whole verdict as the marking wrote it; the score is in points, and
    ``score_by_cause`` that where a cause of several requirements counts once. ``by_hand`` is what
    the results that teachers have set add to it, or take away.
    """

    __tablename__ = "verdicts"

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), primary_key=True
    )
    exercise_version: Mapped[int]
    suite_hash: Mapped[str] = mapped_column(String(80))
    engine_version: Mapped[str] = mapped_column(String(80))
    score: Mapped[float]
    score_by_cause: Mapped[float]
    max_score: Mapped[float]
    document: Mapped[Document]
    marked_at: Mapped[datetime]
    by_hand: Mapped[float] = mapped_column(default=0.0)

    @property
    def points(self) -> float:
        """The score with what teachers have set."""
        return min(round(self.score + self.by_hand, 6), self.max_score)


class RequirementResult(Base):
    """One requirement of a verdict, for gradebook and reports; ``position`` is its place in it."""

    __tablename__ = "requirement_results"

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("verdicts.submission_id", ondelete="CASCADE"), primary_key=True
    )
    requirement: Mapped[str] = mapped_column(String(20), primary_key=True)
    position: Mapped[int]
    status: Mapped[Status]
    known_by: Mapped[str] = mapped_column(String(200))
    score: Mapped[float]
    max_score: Mapped[float]


class ResultByHand(Base):
    """The share of a requirement's points that a teacher gives an attempt, and why."""

    __tablename__ = "results_by_hand"
    __table_args__ = (CheckConstraint("share >= 0 AND share <= 1", name="share_is_a_share"),)

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), primary_key=True
    )
    requirement: Mapped[str] = mapped_column(String(20), primary_key=True)
    share: Mapped[float]
    reason: Mapped[str] = mapped_column(String(500))
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    at: Mapped[datetime]

    by: Mapped[User | None] = relationship(lazy="joined")

    @property
    def status(self) -> Status:
        return Status.MET if self.share == 1 else Status.NOT_MET


def sum_by_hand(session: Session, submission_id: int) -> None:
    """Bring ``StoredVerdict.by_hand`` up to what is set, and to the results as they are marked."""
    session.flush()
    change = session.scalar(
        select(func.sum(ResultByHand.share * RequirementResult.max_score - RequirementResult.score))
        .select_from(ResultByHand)
        .join(
            RequirementResult,
            (RequirementResult.submission_id == ResultByHand.submission_id)
            & (RequirementResult.requirement == ResultByHand.requirement),
        )
        .where(ResultByHand.submission_id == submission_id)
    )
    session.get_one(StoredVerdict, submission_id).by_hand = change or 0.0
    session.flush()


def add_results(session: Session, submission_id: int, verdict: Verdict) -> None:
    """Store the rows of a verdict's requirements, in their order."""
    results = [
        {
            "submission_id": submission_id,
            "requirement": result.id,
            "position": position,
            "status": result.status,
            "known_by": result.known_by,
            "score": result.score,
            "max_score": result.max_score,
        }
        for position, result in enumerate(verdict.requirements)
    ]
    if results:
        send(session, insert(RequirementResult), results)
