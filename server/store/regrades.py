"""Marking again: new verdicts on submissions that have one, with the earlier ones kept.

A whole class counts by one version, so every verdict that differs is replaced. What a student has
got is not taken away: where the new verdict is worth a smaller share of its points, the earlier
share counts on, unless the instructor says otherwise. Whose verdict was replaced is shown that
until they have seen it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ForeignKey, bindparam, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.marking.verdict import Verdict
from server.store.attempts import (
    RequirementResult,
    StoredVerdict,
    Submission,
    SubmissionState,
    add_results,
    sum_by_hand,
)
from server.store.courses import Assignment
from server.store.database import Base, Document
from server.store.mail_outbox import MailKind, queue_mail
from server.store.standings import recount, with_partners


class EarlierVerdict(Base):
    """A verdict that another one has replaced, and when."""

    __tablename__ = "earlier_verdicts"

    id: Mapped[int] = mapped_column(primary_key=True)
    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), index=True
    )
    exercise_version: Mapped[int]
    score: Mapped[float]
    max_score: Mapped[float]
    document: Mapped[Document]
    marked_at: Mapped[datetime]
    replaced_at: Mapped[datetime]


class UnseenChange(Base):
    """A replaced verdict that somebody has not looked at since; ``score`` is what they knew."""

    __tablename__ = "unseen_changes"

    submission_id: Mapped[int] = mapped_column(
        ForeignKey("submissions.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    score: Mapped[float]
    max_score: Mapped[float]
    changed_at: Mapped[datetime]

    submission: Mapped[Submission] = relationship(lazy="joined", innerjoin=True)


@dataclass(frozen=True, slots=True)
class MarkedSubmission:
    """A submission with its verdict so far, as marking again looks at it."""

    submission_id: int
    user_id: int
    assignment_id: int
    program: Document
    document: Document
    score: float
    max_score: float
    seed: str

    @property
    def share(self) -> float:
        """The part of the points that counts now, from 0 to 1."""
        return self.score / self.max_score if self.max_score else 0.0


def marked_submissions(session: Session, slug: str) -> list[MarkedSubmission]:
    """Return every submission of an exercise that has its verdict, the oldest first."""
    rows = session.execute(
        select(
            Submission.id,
            Submission.user_id,
            Submission.assignment_id,
            Submission.program,
            StoredVerdict.document,
            StoredVerdict.score,
            StoredVerdict.max_score,
            Submission.seed,
        )
        .join(StoredVerdict, StoredVerdict.submission_id == Submission.id)
        .join(Assignment, Assignment.id == Submission.assignment_id)
        .where(Assignment.exercise == slug, Submission.state == SubmissionState.MARKED)
        .order_by(Submission.id)
    )
    return [MarkedSubmission(*row) for row in rows]


def replace_verdicts(
    session: Session,
    verdicts: Sequence[tuple[int, Verdict, Document]],
    now: datetime,
    *,
    may_fall: bool,
) -> int:
    """Put new verdicts in place of those that differ, and keep those; how many were replaced.

    Unless shares ``may_fall``, a share of the points that was reached before counts on.
    """
    replaced = 0
    for submission_id, verdict, document in verdicts:
        stored = session.get(StoredVerdict, submission_id)
        if stored is None:
            continue
        score, score_by_cause = verdict.score, verdict.score_by_cause
        if not may_fall:
            score = max(score, _same_share(stored.score, stored, verdict))
            score_by_cause = max(
                score_by_cause, _same_share(stored.score_by_cause, stored, verdict)
            )
        if stored.document == document and stored.score == score:
            continue
        session.add(
            EarlierVerdict(
                submission_id=submission_id,
                exercise_version=stored.exercise_version,
                score=stored.score,
                max_score=stored.max_score,
                document=stored.document,
                marked_at=stored.marked_at,
                replaced_at=now,
            )
        )
        _tell(session, stored, now)
        stored.exercise_version = verdict.exercise_version
        stored.suite_hash, stored.engine_version = verdict.suite_hash, verdict.engine_version
        stored.score, stored.max_score = score, verdict.max_score
        stored.score_by_cause = score_by_cause
        stored.document, stored.marked_at = document, now
        session.execute(
            delete(RequirementResult).where(RequirementResult.submission_id == submission_id)
        )
        add_results(session, submission_id, verdict)
        sum_by_hand(session, submission_id)
        replaced += 1
    session.flush()
    return replaced


def _same_share(points: float, stored: StoredVerdict, verdict: Verdict) -> float:
    """Return what ``points`` of the stored verdict are among those of a new one."""
    return round(points / stored.max_score * verdict.max_score, 2) if stored.max_score else 0.0


def _tell(session: Session, stored: StoredVerdict, now: datetime) -> None:
    """Note for its author and their partner that a verdict is about to be replaced."""
    submission = session.get_one(Submission, stored.submission_id)
    for user_id in with_partners(session, submission.assignment, [submission.user_id]):
        unseen = session.get(UnseenChange, (submission.id, user_id))
        if unseen is None:
            unseen = UnseenChange(
                submission_id=submission.id,
                user_id=user_id,
                score=stored.score,
                max_score=stored.max_score,
            )
            session.add(unseen)
        unseen.changed_at = now
        # One mail for all attempts that are marked again together.
        about, path = now.isoformat(), f"/submissions/{submission.id}"
        kind, assignment = MailKind.MARKED_AGAIN, submission.assignment
        queue_mail(session, kind, assignment, [user_id], about, path, now)


def unseen_changes(session: Session, user_id: int) -> list[UnseenChange]:
    """Return replaced verdicts that somebody has still to look at, the newest first."""
    return list(
        session.scalars(
            select(UnseenChange)
            .where(UnseenChange.user_id == user_id)
            .order_by(UnseenChange.changed_at.desc(), UnseenChange.submission_id)
        )
    )


def change_is_unseen(session: Session, submission_id: int, user_id: int) -> bool:
    return session.get(UnseenChange, (submission_id, user_id)) is not None


def mark_seen(session: Session, submission_id: int, user_id: int) -> None:
    """Note that somebody has looked at the verdict as it is now."""
    session.execute(
        delete(UnseenChange).where(
            UnseenChange.submission_id == submission_id, UnseenChange.user_id == user_id
        )
    )


def recount_all(session: Session, assignment_ids: Iterable[int]) -> None:
    """Bring the standings of these assignments up to date."""
    for assignment_id in assignment_ids:
        recount(session, session.get_one(Assignment, assignment_id))


_EARLIER = (
    select(EarlierVerdict)
    .where(EarlierVerdict.submission_id == bindparam("submission_id"))
    .order_by(EarlierVerdict.id.desc())
)


def earlier_verdicts(session: Session, submission_id: int) -> list[EarlierVerdict]:
    """Verdicts that were replaced, the newest first."""
    return list(session.scalars(_EARLIER, {"submission_id": submission_id}))
