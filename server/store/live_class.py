"""The class while the lab is on: who works on what, who is stuck, the newest verdicts."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store.attempts import RequirementResult, StoredVerdict, Submission, SubmissionState
from server.store.courses import Assignment, students_of
from server.store.people import User
from server.store.programs import WorkingProgram

LAB = timedelta(hours=4)
"""What is older than this belongs to another lab hour."""

STUCK_AFTER = 2
"""Attempts in a row in which a requirement is not met."""


class Tried(NamedTuple):
    """An attempt in this lab hour; the last three are None until it is marked."""

    submission_id: int
    assignment_id: int
    attempt: int
    submitted_at: datetime
    marked_at: datetime | None
    score: float | None
    max_score: float | None


@dataclass(frozen=True, slots=True)
class Seat:
    """One student now. ``stuck`` has the requirements and for how many attempts in a row."""

    student: User
    assignment: Assignment | None
    last_change: datetime | None
    attempts: int
    met: int
    requirements: int
    newest: int | None
    stuck: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Arrival:
    """A verdict that arrived in this lab hour."""

    submission_id: int
    student: User
    assignment: Assignment
    attempt: int
    marked_at: datetime
    score: float
    max_score: float
    open_requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LiveClass:
    """``hardest`` counts the students who are stuck at (assignment title, requirement)."""

    seats: tuple[Seat, ...]
    arrivals: tuple[Arrival, ...]
    hardest: tuple[tuple[str, str, int], ...]


def read_live_class(session: Session, section_id: int, now: datetime) -> LiveClass:
    """Return what has happened in the section since ``now - LAB``.

    Five queries, whatever its size.
    """
    students = {student.id: student for student in students_of(session, section_id)}
    set_here = {
        each.id: each
        for each in session.scalars(select(Assignment).where(Assignment.section_id == section_id))
    }
    saved = _saved(session, list(set_here), now)
    tried = _tried(session, list(set_here), now)
    results = _results(session, [row.submission_id for rows in tried.values() for row in rows])
    seats, arrivals = [], []
    stuck_at: dict[tuple[str, str], int] = defaultdict(int)
    for student in students.values():
        rows = tried.get(student.id, [])
        here = _newest_place(rows, saved.get(student.id))
        assignment = set_here[here[0]] if here else None
        seat = _seat(student, assignment, here[1] if here else None, rows, results)
        seats.append(seat)
        if assignment:
            for requirement, _ in seat.stuck:
                stuck_at[assignment.title, requirement] += 1
        arrivals += [
            Arrival(
                row.submission_id,
                student,
                set_here[row.assignment_id],
                row.attempt,
                row.marked_at,
                row.score or 0.0,
                row.max_score or 0.0,
                tuple(
                    name
                    for name, status in results.get(row.submission_id, {}).items()
                    if status is not Status.MET
                ),
            )
            for row in rows
            if row.marked_at is not None
        ]
    arrivals.sort(key=lambda each: (each.marked_at, each.submission_id), reverse=True)
    hardest = sorted(
        ((title, name, n) for (title, name), n in stuck_at.items()), key=lambda row: -row[2]
    )
    return LiveClass(tuple(seats), tuple(arrivals[:12]), tuple(hardest))


def _seat(
    student: User,
    assignment: Assignment | None,
    last_change: datetime | None,
    rows: list[Tried],
    results: dict[int, dict[str, Status]],
) -> Seat:
    """Return where a student stands at the assignment that they work on."""
    own = [row for row in rows if assignment and row.assignment_id == assignment.id]
    newest = results.get(own[-1].submission_id, {}) if own else {}
    return Seat(
        student,
        assignment,
        last_change,
        len(own),
        sum(status is Status.MET for status in newest.values()),
        len(newest),
        own[-1].submission_id if own else None,
        _stuck([results.get(row.submission_id, {}) for row in own if row.marked_at is not None]),
    )


def _newest_place(
    rows: list[Tried], saved: tuple[int, datetime] | None
) -> tuple[int, datetime] | None:
    """Return the assignment that was last touched, and when."""
    places = [(row.assignment_id, row.submitted_at) for row in rows] + ([saved] if saved else [])
    return max(places, key=lambda place: place[1], default=None)


def _stuck(attempts: list[dict[str, Status]]) -> tuple[tuple[str, int], ...]:
    """Return requirements that the newest attempts in a row did not meet, with their number."""
    if not attempts:
        return ()
    found = []
    for requirement, status in attempts[-1].items():
        if status is Status.MET:
            continue
        run = 0
        for results in reversed(attempts):
            if results.get(requirement) is Status.MET:
                break
            run += 1
        if run >= STUCK_AFTER:
            found.append((requirement, run))
    return tuple(found)


def _saved(
    session: Session, assignment_ids: list[int], now: datetime
) -> dict[int, tuple[int, datetime]]:
    rows = session.execute(
        select(WorkingProgram.user_id, WorkingProgram.assignment_id, WorkingProgram.saved_at)
        .where(
            WorkingProgram.assignment_id.in_(assignment_ids), WorkingProgram.saved_at > now - LAB
        )
        .order_by(WorkingProgram.saved_at)
    )
    return {user: (assignment, at) for user, assignment, at in rows}


def _tried(session: Session, assignment_ids: list[int], now: datetime) -> dict[int, list[Tried]]:
    rows = session.execute(
        select(
            Submission.user_id,
            Submission.id,
            Submission.assignment_id,
            Submission.attempt,
            Submission.submitted_at,
            StoredVerdict.marked_at,
            StoredVerdict.score,
            StoredVerdict.max_score,
        )
        .outerjoin(StoredVerdict, StoredVerdict.submission_id == Submission.id)
        .where(
            Submission.assignment_id.in_(assignment_ids),
            Submission.submitted_at > now - LAB,
            Submission.state != SubmissionState.UNMARKED,
        )
        .order_by(Submission.submitted_at, Submission.id)
    )
    found: dict[int, list[Tried]] = defaultdict(list)
    for row in rows:
        found[row.user_id].append(
            Tried(
                row.id,
                row.assignment_id,
                row.attempt,
                row.submitted_at,
                row.marked_at,
                row.score,
                row.max_score,
            )
        )
    return found


def _results(session: Session, submission_ids: list[int]) -> dict[int, dict[str, Status]]:
    rows = session.execute(
        select(
            RequirementResult.submission_id, RequirementResult.requirement, RequirementResult.status
        )
        .where(RequirementResult.submission_id.in_(submission_ids))
        .order_by(RequirementResult.position)
    )
    found: dict[int, dict[str, Status]] = defaultdict(dict)
    for id, requirement, status in rows:
        found[id][requirement] = status
    return found
