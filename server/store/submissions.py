"""Submitted programs and what the marking said of them.

A submission is stored as *queued* in the unit of work that accepts it; marking happens outside any
unit of work, and its verdict is stored once, however often it arrives.
"""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import ForeignKey, String, UniqueConstraint, select, update
from sqlalchemy.engine import CursorResult
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.marking.verdict import Status, Verdict
from server.store.courses import Assignment
from server.store.database import Base, Document
from server.store.people import User
from server.store.programs import lock_work


class SubmissionState(StrEnum):
    QUEUED = "queued"
    MARKED = "marked"


class Submission(Base):
    """One attempt (from 1) of a user at an assignment; the program is never changed."""

    __tablename__ = "submissions"
    __table_args__ = (UniqueConstraint("assignment_id", "user_id", "attempt"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assignment_id: Mapped[int] = mapped_column(ForeignKey("assignments.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    attempt: Mapped[int]
    program: Mapped[Document]
    submitted_at: Mapped[datetime]
    state: Mapped[SubmissionState] = mapped_column(index=True)

    assignment: Mapped[Assignment] = relationship(lazy="joined", innerjoin=True)
    user: Mapped[User] = relationship(lazy="joined", innerjoin=True)
    verdict: Mapped["StoredVerdict | None"] = relationship(lazy="joined")

    @property
    def late(self) -> bool:
        return self.submitted_at > self.assignment.due_at


class StoredVerdict(Base):
    """What one acceptance run found, and with what it can be found again.

    ``document`` is the whole verdict as the marking wrote it; the score is in points.
    """

    __tablename__ = "verdicts"

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), primary_key=True
    )
    exercise_version: Mapped[int]
    suite_hash: Mapped[str] = mapped_column(String(80))
    engine_version: Mapped[str] = mapped_column(String(80))
    score: Mapped[float]
    max_score: Mapped[float]
    document: Mapped[Document]
    marked_at: Mapped[datetime]


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


class Refusal(StrEnum):
    """Why a program was not taken, in the words that the student reads."""

    NOT_OPEN = "This exercise is not open yet. Keep working; submit after it opens."
    CLOSED = "This exercise is closed. Ask the instructor whether it can be opened again for you."
    NO_ATTEMPT_LEFT = "All attempts at this exercise are used. The one that counts is shown below."
    SAME_PROGRAM = (
        "This program is the same as in your last attempt, so nothing was submitted. "
        "Change the program first; no attempt was used."
    )


def submit(
    session: Session, assignment: Assignment, user_id: int, program: Document, now: datetime
) -> Submission | Refusal:
    """Take a program as the user's next attempt, or say why not."""
    lock_work(session, assignment, user_id)
    if now < assignment.opens_at:
        return Refusal.NOT_OPEN
    if assignment.closes_at is not None and now >= assignment.closes_at:
        return Refusal.CLOSED
    last = session.scalar(
        select(Submission)
        .where(Submission.assignment_id == assignment.id, Submission.user_id == user_id)
        .order_by(Submission.attempt.desc())
        .limit(1)
    )
    if last is not None and assignment.attempts is not None and last.attempt >= assignment.attempts:
        return Refusal.NO_ATTEMPT_LEFT
    # A second click on the button must not use up an attempt.
    if last is not None and last.program == program:
        return Refusal.SAME_PROGRAM
    submission = Submission(
        assignment_id=assignment.id,
        user_id=user_id,
        attempt=last.attempt + 1 if last else 1,
        program=program,
        submitted_at=now,
        state=SubmissionState.QUEUED,
    )
    session.add(submission)
    session.flush()
    return submission


def store_verdict(
    session: Session, submission_id: int, verdict: Verdict, document: Document, now: datetime
) -> bool:
    """Store what the marking found; ``document`` is the same verdict as JSON.

    False, and nothing is changed, if the submission has a verdict already or is gone.
    """
    taken = session.execute(
        update(Submission)
        .where(Submission.id == submission_id, Submission.state == SubmissionState.QUEUED)
        .values(state=SubmissionState.MARKED)
    )
    assert isinstance(taken, CursorResult)
    if taken.rowcount == 0:
        return False
    session.add(
        StoredVerdict(
            submission_id=submission_id,
            exercise_version=verdict.exercise_version,
            suite_hash=verdict.suite_hash,
            engine_version=verdict.engine_version,
            score=verdict.score,
            max_score=verdict.max_score,
            document=document,
            marked_at=now,
        )
    )
    # The rows below refer to the one above, which the unit of work can't know by itself.
    session.flush()
    session.add_all(
        RequirementResult(
            submission_id=submission_id,
            requirement=requirement.id,
            position=position,
            status=requirement.status,
            known_by=requirement.known_by,
            score=requirement.score,
            max_score=requirement.max_score,
        )
        for position, requirement in enumerate(verdict.requirements)
    )
    session.flush()
    return True


def find_submission(session: Session, submission_id: int) -> Submission | None:
    return session.get(Submission, submission_id)


def queued(session: Session, limit: int = 100) -> list[int]:
    """Ids of submissions that wait for their verdict, the oldest first."""
    return list(
        session.scalars(
            select(Submission.id)
            .where(Submission.state == SubmissionState.QUEUED)
            .order_by(Submission.id)
            .limit(limit)
        )
    )


def attempts_of(session: Session, assignment: Assignment, user_id: int) -> list[Submission]:
    """A user's attempts at an assignment with their verdicts, the newest first."""
    return list(
        session.scalars(
            select(Submission)
            .where(Submission.assignment_id == assignment.id, Submission.user_id == user_id)
            .order_by(Submission.attempt.desc())
        )
    )
