"""Marking 5,000 stored submissions of one exercise again: how long it takes, and what changes.

``uv run python -m tests.load.marking_again [SUBMISSIONS]`` fills a database of its own with the
reference programs of the apple wash sump, marked as they are, and marks them again: with the same
exercise (no verdict may change) and with one requirement that weighs more (exactly those change
whose points do).
"""

import sys
import tempfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from time import perf_counter

from server.jobs.regrader import RegradeProgress, Regrader, changed_verdicts
from server.ladder.json_form import to_json as program_to_json
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import mark
from server.marking.verdict_form import to_json
from server.paths import EXERCISES
from server.store.attempts import StoredVerdict, Submission, SubmissionState
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.regrades import marked_submissions
from tests.factories import NOON, make_assignment, make_section, make_user

SLUG = "apple-wash-sump"
ATTEMPTS = 50


def fill(database: Database, exercise: Exercise, count: int) -> int:
    """Store marked submissions, fifty attempts of each student; how many programs differ."""
    programs = load_programs(EXERCISES / SLUG, exercise)
    known = [(program_to_json(p.program), mark(exercise, p.program)) for p in programs]
    with database.write() as session:
        students = [make_user(session) for _ in range(max(1, count // ATTEMPTS))]
        enrolled = ((student, SectionRole.STUDENT) for student in students)
        section = make_section(session, *enrolled)
        assignment = make_assignment(session, section, exercise=SLUG)
        for number in range(count):
            document, verdict = known[number % len(known)]
            submission = Submission(
                assignment_id=assignment.id,
                user_id=students[number % len(students)].id,
                attempt=number // len(students) + 1,
                program=document,
                submitted_at=NOON + timedelta(seconds=number),
                state=SubmissionState.MARKED,
            )
            session.add(submission)
            session.flush()
            session.add(
                StoredVerdict(
                    submission_id=submission.id,
                    exercise_version=verdict.exercise_version,
                    suite_hash=verdict.suite_hash,
                    engine_version=verdict.engine_version,
                    score=verdict.score,
                    score_by_cause=verdict.score_by_cause,
                    max_score=verdict.max_score,
                    document=to_json(verdict),
                    marked_at=NOON,
                )
            )
    return len(known)


def again(database: Database, exercise: Exercise, *, may_fall: bool) -> tuple[int, int, float]:
    """Mark all again and apply it; how many differed, how many were replaced, seconds."""
    began = perf_counter()
    with database.read() as session:
        submissions = marked_submissions(session, SLUG)
    comparison = RegradeProgress(1, lambda _: exercise, submissions)
    comparison.changes = list(changed_verdicts(comparison, submissions))
    comparison.complete = True
    regrader = Regrader(database)
    replaced = regrader.apply(SLUG, comparison, NOON + timedelta(days=1), may_fall=may_fall)
    return len(comparison.changes), replaced, perf_counter() - began


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    exercise = load_exercise(EXERCISES / SLUG)
    with tempfile.TemporaryDirectory() as folder:
        database = Database(f"sqlite:///{Path(folder) / 'rungmark.db'}")
        migrate(database)
        different = fill(database, exercise, count)
        same, _, seconds = again(database, exercise, may_fall=False)
        print(f"{count} submissions, {different} different programs")
        print(f"the same exercise: {same} verdicts differ, {seconds:.1f} s")
        first, *rest = exercise.requirements
        heavier = replace(exercise, requirements=(replace(first, weight=first.weight + 1), *rest))
        changed, replaced, seconds = again(database, heavier, may_fall=False)
        print(f"{first.id} weighs more: {changed} differ, {replaced} replaced, {seconds:.1f} s")
        database.close()
    return int(same != 0)


if __name__ == "__main__":
    sys.exit(main())
