"""Recorded trial runs: those that a user saved under a name, and the latest one as it goes.

The latest run of a user at an assignment is written again and again while it goes on; it has no
name. A saved one is written once more only under the same name.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import ForeignKey, Select, String, UniqueConstraint, delete, func, select, tuple_
from sqlalchemy.orm import Mapped, Session, defer, mapped_column

from server.store.database import Base, Document

LATEST = ""
"""The name of the run that goes on."""

MAX_NAME = 80
MAX_SAVED = 30
"""Saved runs of one user at one assignment."""


class SavedTrial(Base):
    """One recorded run; ``run`` is its document, ``scans`` how long it is."""

    __tablename__ = "saved_trials"
    __table_args__ = (UniqueConstraint("assignment_id", "user_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    assignment_id: Mapped[int] = mapped_column(ForeignKey("assignments.id", ondelete="CASCADE"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(MAX_NAME))
    scans: Mapped[int]
    saved_at: Mapped[datetime]
    run: Mapped[Document]


def save_trial(
    session: Session,
    assignment_id: int,
    user_id: int,
    name: str,
    run: Document,
    *,
    scans: int,
    now: datetime,
) -> bool:
    """Keep a run under a name, over an earlier one of that name.

    False, and nothing is changed, when the user has MAX_SAVED others.
    """
    kept = find_trial(session, assignment_id, user_id, name)
    if kept is None:
        if name != LATEST and _count(session, assignment_id, user_id) >= MAX_SAVED:
            return False
        kept = SavedTrial(assignment_id=assignment_id, user_id=user_id, name=name)
        session.add(kept)
    kept.run, kept.scans, kept.saved_at = run, scans, now
    session.flush()
    return True


def save_latest(
    session: Session, runs: Mapping[tuple[int, int], tuple[Document, int]], now: datetime
) -> None:
    """Keep the latest runs of some assignments and users: each one's document and its scans."""
    mine = tuple_(SavedTrial.assignment_id, SavedTrial.user_id).in_(list(runs))
    kept = session.scalars(
        select(SavedTrial).where(mine, SavedTrial.name == LATEST).options(defer(SavedTrial.run))
    )
    rows = {(row.assignment_id, row.user_id): row for row in kept}
    for key, (run, scans) in runs.items():
        row = rows.get(key)
        if row is None:
            row = SavedTrial(assignment_id=key[0], user_id=key[1], name=LATEST)
            session.add(row)
        row.run, row.scans, row.saved_at = run, scans, now


def find_trial(session: Session, assignment_id: int, user_id: int, name: str) -> SavedTrial | None:
    """Return a user's run of that name at an assignment."""
    return session.scalar(_of(assignment_id, user_id).where(SavedTrial.name == name))


def saved_trials(session: Session, assignment_id: int, user_id: int) -> list[SavedTrial]:
    """Return the runs that a user has saved under names, by name, without their documents."""
    named = _of(assignment_id, user_id).where(SavedTrial.name != LATEST)
    return list(session.scalars(named.options(defer(SavedTrial.run)).order_by(SavedTrial.name)))


def delete_trial(session: Session, assignment_id: int, user_id: int, name: str) -> None:
    """Delete a run; nothing happens when there is none of that name."""
    session.execute(
        delete(SavedTrial).where(
            SavedTrial.assignment_id == assignment_id,
            SavedTrial.user_id == user_id,
            SavedTrial.name == name,
        )
    )


def _of(assignment_id: int, user_id: int) -> Select[SavedTrial]:
    return select(SavedTrial).where(
        SavedTrial.assignment_id == assignment_id, SavedTrial.user_id == user_id
    )


def _count(session: Session, assignment_id: int, user_id: int) -> int:
    return session.scalars(
        select(func.count())
        .select_from(SavedTrial)
        .where(
            SavedTrial.assignment_id == assignment_id,
            SavedTrial.user_id == user_id,
            SavedTrial.name != LATEST,
        )
    ).one()
