"""Queries only: what counts, for whom, requirement by requirement."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store.allowances import Allowance, special_allowances
from server.store.corrections import Excuse, Override
from server.store.courses import (
    KEEPS_WORK,
    Assignment,
    Enrolment,
    Section,
    SectionRole,
    assignments_of,
    class_of,
    students_of,
)
from server.store.people import User
from server.store.programs import WorkingProgram
from server.store.standings import BY_HAND, CountingAttempt


@dataclass(frozen=True, slots=True)
class Standing:
    """How a student stands with one assignment.

    ``attempts`` counts every submission and ``queued`` those not marked yet; the other fields are
    those of the attempt that counts, None without one. ``score`` is what the marking gave,
    ``points`` what counts of it: after the late policy, or as ``override`` says, and none with an
    ``excuse``. ``allowance`` is what holds for this student, None if it is what holds for the
    class. ``results`` has a status by requirement, ``by_hand`` those that a teacher has set.
    """

    attempts: int = 0
    queued: int = 0
    submission_id: int | None = None
    attempt: int | None = None
    submitted_at: datetime | None = None
    days_late: int = 0
    score: float | None = None
    points: float | None = None
    max_score: float | None = None
    override: Override | None = None
    excuse: Excuse | None = None
    allowance: Allowance | None = None
    results: dict[str, Status] = field(default_factory=dict)
    by_hand: tuple[str, ...] = ()

    @property
    def due_at(self) -> datetime | None:
        """The due date of this student, None if it is that of the class."""
        return self.allowance.due_at if self.allowance and self.allowance.moved else None

    @property
    def owed(self) -> bool:
        """It is missing if nothing is handed in."""
        return self.allowance is None or self.allowance.owed

    @property
    def late(self) -> bool:
        return self.days_late > 0

    @property
    def complete(self) -> bool:
        """Every point of the exercise is reached in the attempt that counts."""
        return self.score is not None and self.score == self.max_score

    @property
    def share(self) -> float | None:
        """The share of the exercise's points that counts, None without any."""
        if self.points is None or not self.max_score:
            return None
        return self.points / self.max_score

    def state(self, assignment: Assignment, now: datetime) -> str:
        """Return how the work stands, in a word or two, for files and lists."""
        if self.excuse is not None:
            return "excused"
        if self.override is not None:
            return "set by hand"
        if self.points is not None:
            return "late" if self.late else "handed in"
        if self.queued:
            return "being marked"
        if not self.owed:
            return "not owed"
        return "missing" if self.missing(assignment, now) else "not due"

    def missing(self, assignment: Assignment, now: datetime) -> bool:
        """Nothing was handed in, though it was due and nothing else counts."""
        nothing = not self.attempts and self.override is None and self.excuse is None
        return nothing and self.owed and now > (self.due_at or assignment.due_at)


@dataclass(frozen=True, slots=True)
class StudentRow:
    """One student in one assignment."""

    student: User
    standing: Standing


@dataclass(frozen=True, slots=True)
class Gradebook:
    """One row per student of the section; ``requirements`` are those that occur in it."""

    assignment: Assignment
    requirements: tuple[str, ...]
    rows: tuple[StudentRow, ...]

    @property
    def counted(self) -> int:
        """How many students have an attempt that counts."""
        return sum(bool(row.standing.results) for row in self.rows)

    def met_by(self, requirement: str) -> int:
        """Return how many of them have met this requirement."""
        return sum(row.standing.results.get(requirement) is Status.MET for row in self.rows)


@dataclass(frozen=True, slots=True)
class SectionRow:
    """One student over all that is set: a standing for each assignment, and the share reached."""

    student: User
    enrolment: Enrolment
    standings: tuple[Standing, ...]
    share: float | None


@dataclass(frozen=True, slots=True)
class SectionBook:
    """The gradebook of a whole section; columns are its assignments in order of due date.

    ``withdrawn`` are no rows: their work is kept, and is in no figure.
    """

    section: Section
    assignments: tuple[Assignment, ...]
    rows: tuple[SectionRow, ...]
    withdrawn: tuple[User, ...] = ()


@dataclass(frozen=True, slots=True)
class AssignmentProgress:
    """How many of a section's students have begun, submitted and reached every point."""

    begun: int
    submitted: int
    complete: int
    queued: int


def gradebook(session: Session, assignment: Assignment) -> Gradebook:
    """Return the section's results in one assignment; five queries, whatever its size."""
    standings = _standings(session, [assignment.id])
    rows = tuple(
        StudentRow(student, standings.get((assignment.id, student.id), Standing()))
        for student in students_of(session, assignment.section_id)
    )
    seen = dict.fromkeys(name for row in rows for name in row.standing.results)
    return Gradebook(assignment, tuple(seen), rows)


def section_book(session: Session, section: Section, now: datetime) -> SectionBook:
    """Return the section's results in everything that is set for it.

    Six queries, whatever its size.
    """
    assignments = tuple(assignments_of(session, [section.id]))
    standings = _standings(session, [each.id for each in assignments])
    rows = []
    withdrawn = []
    for student, enrolment in class_of(session, section.id):
        if enrolment.role is SectionRole.WITHDRAWN:
            withdrawn.append(student)
            continue
        own = [standings.get((each.id, student.id), Standing()) for each in assignments]
        rows.append(SectionRow(student, enrolment, tuple(own), share_of(assignments, own, now)))
    return SectionBook(section, assignments, tuple(rows), tuple(withdrawn))


def share_of(
    assignments: Sequence[Assignment], standings: Sequence[Standing], now: datetime
) -> float | None:
    """Return the weighted share of points over what has counted so far, 0 to 1.

    What is handed in counts at once, what is missing counts nothing once it is due; what a student
    is excused from, or does not owe, is left out.
    """
    reached = weight = 0.0
    for assignment, standing in zip(assignments, standings, strict=True):
        share = standing.share
        if share is None and standing.missing(assignment, now):
            share = 0.0
        if share is not None:
            reached += assignment.weight * share
            weight += assignment.weight
    return reached / weight if weight else None


def standings_of(session: Session, user_id: int, assignment_ids: list[int]) -> dict[int, Standing]:
    """Return one student's standing in each of these assignments, by assignment id."""
    found = _standings(session, assignment_ids, user_id)
    return {id: found.get((id, user_id), Standing()) for id in assignment_ids}


def standings_in(session: Session, assignment: Assignment) -> dict[int, Standing]:
    """Standings at one assignment by student, of those who submitted or were given something."""
    return {user: found for (_, user), found in _standings(session, [assignment.id]).items()}


def begun_by(session: Session, user_id: int, assignment_ids: list[int]) -> dict[int, datetime]:
    """Return when this user last saved a program, by assignment; those not begun are left out."""
    if not assignment_ids:
        return {}
    rows = session.execute(
        select(WorkingProgram.assignment_id, WorkingProgram.saved_at).where(
            WorkingProgram.assignment_id.in_(assignment_ids), WorkingProgram.user_id == user_id
        )
    )
    return {row.assignment_id: row.saved_at for row in rows}


def progress_of(session: Session, assignment_ids: list[int]) -> dict[int, AssignmentProgress]:
    """Progress by assignment id. What an instructor tries for themselves does not count."""
    if not assignment_ids:
        return {}
    begun = dict(
        session.execute(
            select(WorkingProgram.assignment_id, func.count())
            .join(Assignment, Assignment.id == WorkingProgram.assignment_id)
            .join(
                Enrolment,
                (Enrolment.section_id == Assignment.section_id)
                & (Enrolment.user_id == WorkingProgram.user_id),
            )
            .where(Assignment.id.in_(assignment_ids), Enrolment.role == SectionRole.STUDENT)
            .group_by(WorkingProgram.assignment_id)
        ).all()
    )
    standings: dict[int, list[Standing]] = {id: [] for id in assignment_ids}
    for (id, _), standing in _standings(session, assignment_ids).items():
        if standing.attempts:
            standings[id].append(standing)
    return {
        id: AssignmentProgress(
            begun=begun.get(id, 0),
            submitted=len(each),
            complete=sum(standing.complete for standing in each),
            queued=sum(standing.queued for standing in each),
        )
        for id, each in standings.items()
    }


def _standings(
    session: Session, assignment_ids: Iterable[int], user_id: int | None = None
) -> dict[tuple[int, int], Standing]:
    """Standings by (assignment, user) of students who submitted or were given something."""
    ids = list(assignment_ids)
    if not ids:
        return {}
    counting = (
        select(CountingAttempt)
        .join(Assignment, Assignment.id == CountingAttempt.assignment_id)
        .join(
            Enrolment,
            (Enrolment.section_id == Assignment.section_id)
            & (Enrolment.user_id == CountingAttempt.user_id),
        )
        .where(CountingAttempt.assignment_id.in_(ids))
    )
    overrides = select(Override).where(Override.assignment_id.in_(ids))
    excuses = select(Excuse).where(Excuse.assignment_id.in_(ids))
    if user_id is None:
        # A test user sees their own standing and is in no figure.
        counting = counting.where(Enrolment.role == SectionRole.STUDENT)
    else:
        counting = counting.where(
            CountingAttempt.user_id == user_id, Enrolment.role.in_(KEEPS_WORK)
        )
        overrides = overrides.where(Override.user_id == user_id)
        excuses = excuses.where(Excuse.user_id == user_id)
    rows = {(row.assignment_id, row.user_id): row for row in session.scalars(counting)}
    given = {(row.assignment_id, row.user_id): row for row in session.scalars(overrides)}
    excused = {(row.assignment_id, row.user_id): row for row in session.scalars(excuses)}
    special = special_allowances(session, ids, user_id)
    return {
        place: _standing(rows.get(place), given.get(place), excused.get(place), special.get(place))
        for place in {*rows, *given, *excused, *special}
    }


def _standing(
    row: CountingAttempt | None,
    override: Override | None,
    excuse: Excuse | None,
    allowance: Allowance | None,
) -> Standing:
    points = row.points if row else None
    if override is not None:
        points = override.points
    if excuse is not None:
        points = None
    if row is None:
        return Standing(points=points, override=override, excuse=excuse, allowance=allowance)
    return Standing(
        attempts=row.attempts,
        queued=row.queued,
        submission_id=row.submission_id,
        attempt=row.attempt,
        submitted_at=row.submitted_at,
        days_late=row.days_late,
        score=row.score,
        points=points,
        max_score=row.max_score,
        override=override,
        excuse=excuse,
        allowance=allowance,
        results={name: Status(result[0]) for name, result in row.results.items()},
        by_hand=tuple(name for name, result in row.results.items() if BY_HAND in result),
    )
