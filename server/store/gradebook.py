"""Queries only: what counts, for whom, requirement by requirement."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store.courses import Assignment, Counting, Enrolment, SectionRole, students_of
from server.store.people import User
from server.store.programs import WorkingProgram
from server.store.submissions import RequirementResult, StoredVerdict, Submission, SubmissionState


@dataclass(frozen=True, slots=True)
class Standing:
    """How a student stands with one assignment.

    ``attempts`` counts every submission and ``queued`` those not marked yet; the other fields are
    those of the attempt that counts, None without one. Scores are in points.
    """

    attempts: int = 0
    queued: int = 0
    submission_id: int | None = None
    attempt: int | None = None
    submitted_at: datetime | None = None
    late: bool = False
    score: float | None = None
    max_score: float | None = None

    @property
    def complete(self) -> bool:
        """Every point of the exercise is reached in the attempt that counts."""
        return self.score is not None and self.score == self.max_score


@dataclass(frozen=True, slots=True)
class Row:
    """``results`` has a status by requirement, of the attempt that counts."""

    student: User
    standing: Standing
    results: dict[str, Status] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Gradebook:
    """One row per student of the section; ``requirements`` are those that occur in it."""

    assignment: Assignment
    requirements: tuple[str, ...]
    rows: tuple[Row, ...]

    @property
    def counted(self) -> int:
        """How many students have an attempt that counts."""
        return sum(bool(row.results) for row in self.rows)

    def met_by(self, requirement: str) -> int:
        """How many of them have met this requirement."""
        return sum(row.results.get(requirement) is Status.MET for row in self.rows)


@dataclass(frozen=True, slots=True)
class Progress:
    """How many of a section's students have begun, submitted and reached every point."""

    begun: int
    submitted: int
    complete: int
    queued: int


def gradebook(session: Session, assignment: Assignment) -> Gradebook:
    """The section's results in one assignment; three queries, whatever its size."""
    standings = _standings(session, [assignment.id])
    counting = [standing.submission_id for standing in standings.values()]
    requirements: dict[str, None] = {}
    results: dict[int | None, dict[str, Status]] = {}
    for result in session.scalars(
        select(RequirementResult)
        .where(RequirementResult.submission_id.in_(counting))
        .order_by(RequirementResult.position)
    ):
        requirements.setdefault(result.requirement)
        results.setdefault(result.submission_id, {})[result.requirement] = result.status
    rows = []
    for student in students_of(session, assignment.section_id):
        standing = standings.get((assignment.id, student.id), Standing())
        rows.append(Row(student, standing, results.get(standing.submission_id, {})))
    return Gradebook(assignment, tuple(requirements), tuple(rows))


def standings_of(session: Session, user_id: int, assignment_ids: list[int]) -> dict[int, Standing]:
    """One student's standing in each of these assignments, by assignment id."""
    found = _standings(session, assignment_ids, user_id)
    return {id: found.get((id, user_id), Standing()) for id in assignment_ids}


def begun_by(session: Session, user_id: int, assignment_ids: list[int]) -> set[int]:
    """Those of the assignments for which this user has saved a program."""
    return set(
        session.scalars(
            select(WorkingProgram.assignment_id).where(
                WorkingProgram.assignment_id.in_(assignment_ids), WorkingProgram.user_id == user_id
            )
        )
    )


def progress_of(session: Session, assignment_ids: list[int]) -> dict[int, Progress]:
    """Progress by assignment id. What an instructor tries for themselves does not count."""
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
        standings[id].append(standing)
    return {
        id: Progress(
            begun=begun.get(id, 0),
            submitted=len(each),
            complete=sum(standing.complete for standing in each),
            queued=sum(standing.queued for standing in each),
        )
        for id, each in standings.items()
    }


def csv_text(book: Gradebook) -> str:
    """The gradebook as CSV: a column per requirement, times in UTC, an empty cell for none."""
    text = io.StringIO()
    lines = csv.writer(text)
    head = ["Student", "Email", "Section", "Attempt", "Submitted (UTC)", "Late", "Score", "Out of"]
    lines.writerow(_safe([*head, *book.requirements]))
    for row in book.rows:
        standing = row.standing
        when = standing.submitted_at
        lines.writerow(
            _safe(
                [
                    row.student.listed_as,
                    row.student.email,
                    book.assignment.section.number,
                    standing.attempt,
                    when and when.strftime("%Y-%m-%d %H:%M:%S"),
                    when and ("yes" if standing.late else "no"),
                    standing.score,
                    standing.max_score,
                    *(row.results.get(name) for name in book.requirements),
                ]
            )
        )
    return text.getvalue()


def _safe(cells: Iterable[object]) -> list[object]:
    """Texts that a spreadsheet would take for a formula get an apostrophe before them.

    The signs are those of OWASP's page "CSV Injection" (tab, carriage return, line feed and the
    full-width forms of the four signs among them); written from memory.
    """
    return [
        f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA_SIGNS) else cell
        for cell in cells
    ]


_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def _standings(
    session: Session, assignment_ids: list[int], user_id: int | None = None
) -> dict[tuple[int, int], Standing]:
    """Standings by (assignment, user) of the students who have submitted; one query."""
    place = (Submission.assignment_id, Submission.user_id)
    marked = Submission.state == SubmissionState.MARKED
    # Marked before queued; then the last attempt or the best, of equals the first.
    order = (
        case((marked, 0), else_=1),
        case((Assignment.counting == Counting.LAST, -Submission.attempt), else_=0),
        StoredVerdict.score.desc(),
        Submission.attempt,
    )
    ranked = (
        select(
            *place,
            Submission.id,
            Submission.attempt,
            Submission.submitted_at,
            Assignment.due_at,
            StoredVerdict.score,
            StoredVerdict.max_score,
            func.count().over(partition_by=place).label("attempts"),
            func.sum(case((marked, 0), else_=1)).over(partition_by=place).label("queued"),
            func.row_number().over(partition_by=place, order_by=order).label("rank"),
        )
        .join(Assignment, Assignment.id == Submission.assignment_id)
        .join(
            Enrolment,
            (Enrolment.section_id == Assignment.section_id)
            & (Enrolment.user_id == Submission.user_id),
        )
        .outerjoin(StoredVerdict, StoredVerdict.submission_id == Submission.id)
        .where(Submission.assignment_id.in_(assignment_ids), Enrolment.role == SectionRole.STUDENT)
    )
    if user_id is not None:
        ranked = ranked.where(Submission.user_id == user_id)
    rows = ranked.subquery()
    return {
        (row.assignment_id, row.user_id): (
            Standing(row.attempts, row.queued)
            if row.score is None
            else Standing(
                attempts=row.attempts,
                queued=row.queued,
                submission_id=row.id,
                attempt=row.attempt,
                submitted_at=row.submitted_at,
                late=row.submitted_at > row.due_at,
                score=row.score,
                max_score=row.max_score,
            )
        )
        for row in session.execute(select(rows).where(rows.c.rank == 1))
    }
