"""Exercises that instructors write: the texts under way, and every version that was published.

The texts are the kept form. ``revision`` counts the changes: a change is refused when its sender
did not know the newest, so that two windows never write over each other. A published version is
never changed.
"""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import ForeignKey, String, UniqueConstraint, delete, func, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.database import Base, Document
from server.store.people import User


class LifeState(StrEnum):
    """Where an exercise stands; a retired one can't be set any more, what is set goes on."""

    DRAFT = "draft"
    PUBLISHED = "published"
    RETIRED = "retired"


class AuthoredExercise(Base):
    """One exercise under way. ``findings`` is what was found in revision ``findings_of``.

    An exercise without an owner is the college's: everybody may set and copy it, and nobody
    changes it any more.
    """

    __tablename__ = "authored_exercises"

    id: Mapped[int] = mapped_column(primary_key=True)
    slug: Mapped[str] = mapped_column(String(80), unique=True)
    owner_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )
    title: Mapped[str] = mapped_column(String(200))
    state: Mapped[LifeState]
    text: Mapped[str]
    programs: Mapped[Document]
    revision: Mapped[int]
    saved_at: Mapped[datetime]
    findings: Mapped[Document]
    findings_of: Mapped[int]

    owner: Mapped[User | None] = relationship(lazy="joined")


class PublishedVersion(Base):
    """One version as it was published; ``reason`` says why in spite of open findings."""

    __tablename__ = "exercise_versions"
    __table_args__ = (UniqueConstraint("exercise_id", "version"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    exercise_id: Mapped[int] = mapped_column(
        ForeignKey("authored_exercises.id", ondelete="CASCADE")
    )
    version: Mapped[int]
    text: Mapped[str]
    programs: Mapped[Document]
    published_at: Mapped[datetime]
    reason: Mapped[str] = mapped_column(String(1000))
    open_findings: Mapped[int]


def find_authored(session: Session, authored_id: int) -> AuthoredExercise | None:
    return session.get(AuthoredExercise, authored_id)


def authored_named(session: Session, slug: str) -> AuthoredExercise | None:
    return session.scalar(select(AuthoredExercise).where(AuthoredExercise.slug == slug))


def authored_by(session: Session, owner_id: int) -> list[AuthoredExercise]:
    """Somebody's own, the last one worked on first."""
    return list(
        session.scalars(
            select(AuthoredExercise)
            .where(AuthoredExercise.owner_id == owner_id)
            .order_by(AuthoredExercise.saved_at.desc(), AuthoredExercise.id)
        )
    )


def owners(session: Session) -> set[int]:
    """Return whose exercises there are."""
    ids = session.scalars(select(AuthoredExercise.owner_id).distinct())
    return {id for id in ids if id is not None}


def transfer_exercises(session: Session, owner_id: int, successor_id: int | None) -> None:
    """Give everything that somebody wrote to a successor; to the college, if None.

    The college gets what was ever published. A draft that nobody else has seen is deleted then:
    nobody could open it.
    """
    theirs = AuthoredExercise.owner_id == owner_id
    if successor_id is None:
        published = select(PublishedVersion.exercise_id)
        session.execute(
            delete(AuthoredExercise).where(theirs, AuthoredExercise.id.not_in(published))
        )
    session.execute(update(AuthoredExercise).where(theirs).values(owner_id=successor_id))


def published_exercises(session: Session) -> list[AuthoredExercise]:
    """Return what anybody may set or copy, by title."""
    return list(
        session.scalars(
            select(AuthoredExercise)
            .where(AuthoredExercise.state == LifeState.PUBLISHED)
            .order_by(func.lower(AuthoredExercise.title), AuthoredExercise.id)
        )
    )


def begin(
    session: Session,
    owner_id: int,
    slug: str,
    title: str,
    text: str,
    programs: dict[str, str],
    now: datetime,
) -> AuthoredExercise | None:
    """Return a new draft; None if the name is taken."""
    if authored_named(session, slug) is not None:
        return None
    exercise = AuthoredExercise(
        slug=slug,
        owner_id=owner_id,
        title=title[:200],
        state=LifeState.DRAFT,
        text=text,
        programs=programs,
        revision=1,
        saved_at=now,
        findings={},
        findings_of=0,
    )
    session.add(exercise)
    session.flush()
    return exercise


def save_draft(
    session: Session,
    exercise_id: int,
    text: str,
    programs: dict[str, str],
    *,
    title: str,
    revision: int,
    now: datetime,
) -> AuthoredExercise | None:
    """Save a change of the newest revision; return None, and change nothing, for an older one."""
    exercise = session.scalars(
        select(AuthoredExercise)
        .where(AuthoredExercise.id == exercise_id)
        .with_for_update(of=AuthoredExercise)
    ).one()
    if exercise.revision != revision:
        return None
    if (exercise.text, exercise.programs) != (text, programs):
        exercise.text, exercise.programs, exercise.title = text, programs, title[:200]
        exercise.revision += 1
        exercise.saved_at = now
        session.flush()
    return exercise


def keep_findings(session: Session, exercise_id: int, revision: int, findings: Document) -> bool:
    """Keep what was found in a revision; False if somebody has written on meanwhile."""
    exercise = find_authored(session, exercise_id)
    if exercise is None or exercise.revision != revision:
        return False
    exercise.findings, exercise.findings_of = findings, revision
    session.flush()
    return True


def versions_of(session: Session, exercise_id: int) -> list[PublishedVersion]:
    """Return published versions, the newest first."""
    return list(
        session.scalars(
            select(PublishedVersion)
            .where(PublishedVersion.exercise_id == exercise_id)
            .order_by(PublishedVersion.version.desc())
        )
    )


def newest_version(session: Session, slug: str) -> PublishedVersion | None:
    """Return the version that is marked with, whether the exercise may still be set or not."""
    return session.scalar(
        select(PublishedVersion)
        .join(AuthoredExercise, AuthoredExercise.id == PublishedVersion.exercise_id)
        .where(AuthoredExercise.slug == slug)
        .order_by(PublishedVersion.version.desc())
        .limit(1)
    )


def publish(
    session: Session,
    exercise: AuthoredExercise,
    version: int,
    now: datetime,
    *,
    reason: str,
    open_findings: int,
) -> PublishedVersion:
    """Publish the texts as they are under the next number."""
    published = PublishedVersion(
        exercise_id=exercise.id,
        version=version,
        text=exercise.text,
        programs=exercise.programs,
        published_at=now,
        reason=reason[:1000],
        open_findings=open_findings,
    )
    session.add(published)
    exercise.state = LifeState.PUBLISHED
    session.flush()
    return published


def retire(session: Session, exercise: AuthoredExercise) -> None:
    """Let it be set no more; what is set goes on."""
    exercise.state = LifeState.RETIRED
    session.flush()
