"""The department's catalogue of outcomes: what each says, from which term on, and what it feeds.

A version of a course's outcome holds from its term on, until the next one; earlier terms keep the
words and the target that they had. Exercises name outcomes; an outcome that only they know is local
to them until the department takes it into the catalogue.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import CheckConstraint, Column, ForeignKey, String, Table, UniqueConstraint, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.courses import Course, Term
from server.store.database import Base

MAX_OUTCOME = 80
MAX_STATEMENT = 300


@dataclass(frozen=True, slots=True)
class Target:
    """A student has reached an outcome with ``level`` of its points; ``share`` of them should."""

    level: float = 0.7
    share: float = 0.8


class ProgramOutcome(Base):
    """What a graduate of the program can do; outcomes of courses feed it."""

    __tablename__ = "program_outcomes"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(20), unique=True)
    statement: Mapped[str] = mapped_column(String(MAX_STATEMENT))


FEEDS = Table(
    "outcome_feeds",
    Base.metadata,
    Column("version_id", ForeignKey("outcome_versions.id", ondelete="CASCADE"), primary_key=True),
    Column(
        "program_outcome_id",
        ForeignKey("program_outcomes.id", ondelete="CASCADE"),
        primary_key=True,
        index=True,
    ),
)


class OutcomeVersion(Base):
    """An outcome of a course as it holds from a term on.

    ``outcome`` is what exercises call it. ``listed``: it is in the catalogue; if not, only its
    target is known here, and exercises say what it is. Level and share are 0 to 1.
    """

    __tablename__ = "outcome_versions"
    __table_args__ = (
        UniqueConstraint("course_id", "outcome", "term_id"),
        CheckConstraint("level >= 0 AND level <= 1", name="level_is_a_share"),
        CheckConstraint("share >= 0 AND share <= 1", name="share_is_a_share"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    course_id: Mapped[int] = mapped_column(ForeignKey("courses.id", ondelete="CASCADE"))
    outcome: Mapped[str] = mapped_column(String(MAX_OUTCOME))
    term_id: Mapped[int] = mapped_column(ForeignKey("terms.id"), index=True)
    statement: Mapped[str] = mapped_column(String(MAX_STATEMENT), default="")
    listed: Mapped[bool]
    level: Mapped[float]
    share: Mapped[float]

    course: Mapped[Course] = relationship(lazy="joined", innerjoin=True)
    term: Mapped[Term] = relationship(lazy="joined", innerjoin=True)
    feeds: Mapped[list[ProgramOutcome]] = relationship(
        secondary=FEEDS, lazy="selectin", order_by=ProgramOutcome.code
    )

    @property
    def target(self) -> Target:
        return Target(self.level, self.share)


def outcome_versions(
    session: Session, course_ids: Collection[int] | None = None
) -> list[OutcomeVersion]:
    """Return every version of the outcomes of these courses (None: of all), the oldest first."""
    query = (
        select(OutcomeVersion)
        .join(OutcomeVersion.term)
        .order_by(OutcomeVersion.outcome, Term.begins, Term.id)
    )
    if course_ids is not None:
        query = query.where(OutcomeVersion.course_id.in_(course_ids))
    return list(session.scalars(query))


def catalogue_now(session: Session) -> list[OutcomeVersion]:
    """Return the newest version of each outcome that a course's catalogue lists, by course."""
    newest = {(each.course_id, each.outcome): each for each in outcome_versions(session)}
    listed = [each for each in newest.values() if each.listed and not each.course.archived]
    return sorted(listed, key=lambda each: (each.course.code, each.outcome))


def in_force(versions: Sequence[OutcomeVersion], term: Term) -> dict[str, OutcomeVersion]:
    """Return by outcome the version of one course that holds in a term; none before its first."""
    return {
        each.outcome: each
        for each in versions
        if (each.term.begins, each.term.id) <= (term.begins, term.id)
    }


def targets_in(versions: Sequence[OutcomeVersion], term: Term) -> dict[str, Target]:
    """Return the targets that are set for a term, by outcome; others are ``Target()``."""
    return {outcome: each.target for outcome, each in in_force(versions, term).items()}


def save_outcome(
    session: Session,
    course_id: int,
    term: Term,
    outcome: str,
    *,
    statement: str,
    target: Target,
    listed: bool = True,
    feeds: Collection[int] = (),
) -> None:
    """Let an outcome hold like this from a term on; a version of the same term is replaced.

    ``feeds`` are ids of program outcomes; unknown ones are left out.
    """
    version = _find_version(session, course_id, outcome, term.id)
    if version is None:
        version = OutcomeVersion(course_id=course_id, outcome=outcome, term_id=term.id)
        session.add(version)
    version.statement, version.listed = statement, listed
    version.level, version.share = target.level, target.share
    wanted = select(ProgramOutcome).where(ProgramOutcome.id.in_(feeds)).order_by(ProgramOutcome.id)
    version.feeds = list(session.scalars(wanted))
    session.flush()


def delete_version(session: Session, course_id: int, outcome: str, term_id: int) -> bool:
    """Delete a version, so that the one before it holds on; False if there is no such."""
    version = _find_version(session, course_id, outcome, term_id)
    if version is None:
        return False
    session.delete(version)
    session.flush()
    return True


def _find_version(
    session: Session, course_id: int, outcome: str, term_id: int
) -> OutcomeVersion | None:
    return session.scalar(
        select(OutcomeVersion).where(
            OutcomeVersion.course_id == course_id,
            OutcomeVersion.outcome == outcome,
            OutcomeVersion.term_id == term_id,
        )
    )


def find_program_outcome(session: Session, outcome_id: int) -> ProgramOutcome | None:
    return session.get(ProgramOutcome, outcome_id)


def program_outcomes(session: Session) -> list[ProgramOutcome]:
    """Return what the program's graduates can do, by code."""
    return list(session.scalars(select(ProgramOutcome).order_by(ProgramOutcome.code)))


def save_program_outcome(session: Session, code: str, statement: str, id: int | None) -> bool:
    """Add a program outcome, or change one; False if the code is another's or the id unknown."""
    row = ProgramOutcome() if id is None else session.get(ProgramOutcome, id)
    if row is None:
        return False
    try:
        with session.begin_nested():
            row.code, row.statement = code, statement
            session.add(row)
            session.flush()
    except IntegrityError:
        if id is not None:
            session.refresh(row)
        return False
    return True


def delete_program_outcome(session: Session, row: ProgramOutcome) -> str:
    """Delete a program outcome that no outcome feeds; else return a sentence that says which do."""
    feeding = session.scalars(
        select(OutcomeVersion).join(FEEDS).where(FEEDS.c.program_outcome_id == row.id)
    ).all()
    if feeding:
        names = ", ".join(sorted({f"{each.course.code} {each.outcome}" for each in feeding}))
        return f"{row.code} is fed by {names}, so it was not deleted. Untick it there first."
    session.delete(row)
    session.flush()
    return ""
