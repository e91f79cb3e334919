"""How the marking keeps up, in a few figures without names."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store.attempts import StoredVerdict, Submission, SubmissionState


@dataclass(frozen=True, slots=True)
class MarkingNow:
    """``oldest_seconds``: the age of the oldest submission that waits, 0 if none does.

    ``mean_seconds``, ``most_seconds``: from submission to verdict, over ``verdicts``.
    """

    queued: int
    oldest_seconds: float
    verdicts: int
    mean_seconds: float
    most_seconds: float


def marking_now(session: Session, now: datetime, window: timedelta) -> MarkingNow:
    queued, oldest = session.execute(
        select(func.count(), func.min(Submission.submitted_at)).where(
            Submission.state == SubmissionState.QUEUED
        )
    ).one()
    taken = [
        (marked_at - submitted_at).total_seconds()
        for marked_at, submitted_at in session.execute(
            select(StoredVerdict.marked_at, Submission.submitted_at)
            .join(Submission, Submission.id == StoredVerdict.submission_id)
            .where(StoredVerdict.marked_at > now - window)
        )
    ]
    return MarkingNow(
        queued=queued,
        oldest_seconds=max(0.0, (now - oldest).total_seconds()) if oldest else 0.0,
        verdicts=len(taken),
        mean_seconds=sum(taken) / len(taken) if taken else 0.0,
        most_seconds=max(taken, default=0.0),
    )
