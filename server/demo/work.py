"""What the demo's students hand in: right, nearly right and wrong programs, really marked.

The programs are the reference programs of each exercise and single-fault variants of a right one.
Each different program is marked once, by an acceptance run, while the demo is loaded; who hands in
which is drawn with a fixed seed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import Table, insert
from sqlalchemy.orm import Session

from server.ladder.json_form import from_json
from server.ladder.json_form import to_json as program_json
from server.ladder.program import Program
from server.ladder.renaming import rename
from server.marking.acceptance import acceptance_run
from server.marking.exercise import Exercise
from server.marking.faults.variants import variants
from server.marking.files.document import FileFault
from server.marking.files.reference_programs import load_programs
from server.marking.verdict import Verdict
from server.marking.verdict_form import to_json as verdict_json
from server.store.attempts import RequirementResult, StoredVerdict, Submission, SubmissionState
from server.store.courses import Assignment
from server.store.database import Document
from server.store.people import User
from server.store.programs import ProgramStep, WorkingProgram
from server.store.standings import recount
from server.store.transfer import continue_numbers

SEED = 131
VARIANTS = 4
"""Variants of one right program that are marked beside the reference programs."""

RIGHT, WRONG = 3, 5
"""Right and wrong reference programs of one exercise that are marked at most."""


@dataclass(frozen=True, slots=True)
class MarkedProgram:
    """A program and what the engine said of it, both also as they are stored."""

    program: Document
    verdict: Verdict
    document: Document

    @property
    def share(self) -> float:
        """The part of the points that it reaches."""
        return self.verdict.score / self.verdict.max_score


def marked_programs(exercise: Exercise, folder: Path) -> tuple[MarkedProgram, ...]:
    """Return the programs that are handed in at an exercise, the worst first.

    None without references.
    """
    try:
        references = load_programs(folder, exercise)
    except FileFault:
        return ()
    right = [reference.program for reference in references if reference.right][:RIGHT]
    wrong = [reference.program for reference in references if not reference.right][:WRONG]
    programs = [*right, *wrong]
    if right:
        others = variants(right[0])
        programs += [other.program for other in others[:: max(1, len(others) // VARIANTS)]]
    marked = [_mark(exercise, program) for program in dict.fromkeys(programs)]
    return tuple(sorted(marked, key=lambda each: each.share))


def similar_programs(
    exercise: Exercise, programs: Sequence[MarkedProgram]
) -> tuple[MarkedProgram, MarkedProgram] | None:
    """Return a program with a mistake, and the same with other names, comments and order."""
    wrong = [each for each in programs if each.share < 1.0]
    if not wrong:
        return None
    first = wrong[len(wrong) // 2]
    program = from_json(first.program)
    for variable in program.variables:
        if variable.address is None:
            program = rename(program, variable.symbol, f"my_{variable.symbol}")
    rungs = (
        replace(rung, comment=f"For {', '.join(rung.serves) or 'the rest'}.")
        for rung in reversed(program.rungs)
    )
    return first, _mark(exercise, replace(program, rungs=tuple(rungs)))


def _mark(exercise: Exercise, program: Program) -> MarkedProgram:
    verdict = acceptance_run(exercise, program)
    return MarkedProgram(program_json(program), verdict, verdict_json(verdict))


@dataclass(slots=True)
class SubmissionBatch:
    """Collects rows and stores them all at once."""

    session: Session
    now: datetime
    random: Random
    rows: list[dict[str, object]]
    verdicts: list[dict[str, object]]
    results: list[dict[str, object]]

    def attempt(
        self,
        id: int,
        assignment: Assignment,
        user: User,
        number: int,
        at: datetime,
        work: MarkedProgram,
    ) -> None:
        """Add a submission with its verdict, marked a moment after it was handed in."""
        self.rows.append(
            {
                "id": id,
                "assignment_id": assignment.id,
                "user_id": user.id,
                "attempt": number,
                "program": work.program,
                "submitted_at": at,
                "state": SubmissionState.MARKED,
            }
        )
        verdict = work.verdict
        self.verdicts.append(
            {
                "submission_id": id,
                "exercise_version": verdict.exercise_version,
                "suite_hash": verdict.suite_hash,
                "engine_version": verdict.engine_version,
                "score": verdict.score,
                "score_by_cause": verdict.score_by_cause,
                "max_score": verdict.max_score,
                "document": work.document,
                "marked_at": at + timedelta(seconds=1),
            }
        )
        self.results += [
            {
                "submission_id": id,
                "requirement": result.id,
                "position": position,
                "status": result.status,
                "known_by": result.known_by,
                "score": result.score,
                "max_score": result.max_score,
            }
            for position, result in enumerate(verdict.requirements)
        ]

    def store(self) -> None:
        if self.rows:
            self.session.execute(insert(Submission), self.rows)
            self.session.execute(insert(StoredVerdict), self.verdicts)
            self.session.execute(insert(RequirementResult), self.results)


def submit_all(
    session: Session,
    set_work: Sequence[tuple[Assignment, Sequence[MarkedProgram], Sequence[User]]],
    now: datetime,
    alike: tuple[MarkedProgram, MarkedProgram] | None = None,
) -> None:
    """Let the students of each assignment hand in: what is due or open, some late, some nothing.

    At the first assignment two students hand in what is ``alike``. The database has no submissions
    yet.
    """
    work = SubmissionBatch(session, now, Random(SEED), [], [], [])
    skills: dict[int, float] = {}
    copies: list[tuple[Assignment, User, MarkedProgram, datetime]] = []
    for assignment, programs, students in set_work:
        if not programs or assignment.opens_at > now or assignment.is_supervised:
            continue
        likewise = (
            dict(zip(students[-2:], alike or (), strict=False))
            if assignment is set_work[0][0]
            else {}
        )
        last: tuple[MarkedProgram, datetime] | None
        for student in students:
            skill = skills.setdefault(student.id, work.random.betavariate(3, 2))
            if student in likewise:
                last = likewise[student], min(assignment.due_at, now) - timedelta(hours=3)
                work.attempt(len(work.rows) + 1, assignment, student, 1, last[1], last[0])
            else:
                last = _student(work, assignment, student, skill, programs)
            if last is not None:
                copies.append((assignment, student, *last))
    work.store()
    _working_programs(session, copies)
    for assignment, _, _ in set_work:
        recount(session, assignment)


def _student(
    work: SubmissionBatch,
    assignment: Assignment,
    student: User,
    skill: float,
    programs: Sequence[MarkedProgram],
) -> tuple[MarkedProgram, datetime] | None:
    """Return a student's attempts at one exercise; what they handed in last, and when."""
    random, now = work.random, work.now
    in_lab = assignment.due_at > now
    if random.random() > (0.5 if in_lab else 0.9 + 0.09 * skill):
        return None
    if in_lab:
        at = now - timedelta(minutes=random.uniform(20, 150))
    else:
        late = random.random() > 0.82 + 0.15 * skill
        hours = random.uniform(-50, -1) if late else random.uniform(2, 120)
        at = min(assignment.due_at - timedelta(hours=hours), now - timedelta(minutes=30))
    wrong = [each for each in programs if each.share < 1.0]
    right = [each for each in programs if each.share == 1.0] or wrong[-1:]
    place = skill * random.uniform(0.1, 1.2) * len(programs)
    last = None
    for number in range(1, random.choice((1, 2, 3, 3, 4, 4, 5)) + 1):
        work_now = wrong[int(place)] if place < len(wrong) else _solution(random, right)
        last = work_now, at
        work.attempt(len(work.rows) + 1, assignment, student, number, at, work_now)
        if work_now.share == 1.0:
            break
        at += timedelta(minutes=random.uniform(3, 18))
        if at > now:
            break
        if random.random() < 0.2 + 0.7 * skill:
            place += random.uniform(1, 0.7 * len(programs))
    return last


def _solution(random: Random, right: Sequence[MarkedProgram]) -> MarkedProgram:
    """Most solve an exercise in the same way."""
    return right[0] if random.random() < 0.75 else random.choice(right)


def _working_programs(
    session: Session, copies: Sequence[tuple[Assignment, User, MarkedProgram, datetime]]
) -> None:
    """Store for the editor what was handed in last."""
    rows, steps = [], []
    for id, (assignment, user, marked, at) in enumerate(copies, 1):
        rows.append(
            {
                "id": id,
                "assignment_id": assignment.id,
                "user_id": user.id,
                "revision": 1,
                "position": 0,
                "saved_at": at,
            }
        )
        steps.append({"working_program_id": id, "position": 0, "program": marked.program})
    if rows:
        session.execute(insert(WorkingProgram), rows)
        session.execute(insert(ProgramStep), steps)
    for table in (Submission.__table__, WorkingProgram.__table__):
        assert isinstance(table, Table)
        continue_numbers(table, session.connection())
