"""Marking in a process of its own: the same verdicts, a deadline, and what may happen to it."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from typing import Any

import psutil
import pytest
from sqlalchemy import select

from server.commands.marking_process import marking_for
from server.jobs.work_process import PastDeadline, WorkFailed, WorkProcess
from server.jobs.worker import MARKING_SECONDS, mark_in_time
from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.marking import mark
from server.marking.verdict_form import from_json
from server.paths import EXERCISES
from server.settings import Settings
from server.store.attempts import Submission, SubmissionState
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.standings import CountingAttempt
from server.store.submissions import find_submission
from tests.endless import endless_if_odd
from tests.factories import make_assignment, make_section, make_submission, make_user
from tests.faults.processes import until

EXERCISE = "settling-tank"


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    with closing(Database(f"sqlite:///{tmp_path_factory.mktemp('data') / 'course.db'}")) as made:
        migrate(made)
        yield made


@pytest.fixture(scope="module")
def marker(database: Database) -> Iterator[WorkProcess[int, None]]:
    settings = Settings(database.place, ("http://127.0.0.1",), EXERCISES)
    work = WorkProcess("marking", partial(marking_for, settings), MARKING_SECONDS)
    with closing(work) as process:
        yield process


def submitted(database: Database, file: str, document: dict[str, Any] | None = None) -> int:
    """A submission of this reference program, or of what is stored instead of one."""
    exercise = load_exercise(EXERCISES / EXERCISE)
    program = read_program(EXERCISES / EXERCISE / "programs" / file, exercise)
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise=EXERCISE)
        return make_submission(
            session, assignment, student, program=document or to_json(program)
        ).id


FILES = sorted(path.name for path in (EXERCISES / EXERCISE / "programs").glob("*.st"))


@pytest.mark.parametrize("file", FILES[::3])
def test_the_verdict_is_the_same(
    database: Database, marker: WorkProcess[int, None], file: str
) -> None:
    submission_id = submitted(database, file)
    marker.ask(submission_id)
    exercise = load_exercise(EXERCISES / EXERCISE)
    program = read_program(EXERCISES / EXERCISE / "programs" / file, exercise)
    assert verdict_on(database, submission_id) == mark(exercise, program)


def test_a_process_that_was_killed_is_replaced(
    database: Database, marker: WorkProcess[int, None]
) -> None:
    marker.start()
    assert marker._process is not None
    assert marker._process.pid is not None
    os.kill(marker._process.pid, signal.SIGKILL)
    submission_id = submitted(database, FILES[0])
    marker.ask(submission_id)
    assert verdict_on(database, submission_id) is not None


def test_a_mistake_of_ours_is_told_and_the_process_goes_on(
    database: Database, marker: WorkProcess[int, None]
) -> None:
    broken = submitted(database, FILES[0], {"version": "none"})
    with pytest.raises(WorkFailed):
        marker.ask(broken)
    submission_id = submitted(database, FILES[0])
    marker.ask(submission_id)
    assert verdict_on(database, submission_id) is not None


def test_a_program_past_its_deadline_is_left_without_a_verdict(database: Database) -> None:
    ids = submitted(database, FILES[0]), submitted(database, FILES[0])
    odd, even = sorted(ids, key=lambda each: each % 2 == 0)
    told: list[int] = []
    with closing(WorkProcess("work", endless_if_odd, 1)) as process:
        mark_one = mark_in_time(process, database, lambda _session, id: told.append(id))
        for each in (odd, even):
            mark_one(each)
        with pytest.raises(PastDeadline):
            process.ask(1)
    assert told == [odd]
    with database.read() as session:
        states = [session.get_one(Submission, each).state for each in (odd, even)]
        counted = session.scalars(
            select(CountingAttempt.submission_id)
            .join(Submission, Submission.user_id == CountingAttempt.user_id)
            .where(Submission.id == odd)
        ).all()
    assert states == [SubmissionState.UNMARKED, SubmissionState.QUEUED]
    assert counted == []


def test_it_ends_when_nobody_is_left_to_ask_it() -> None:
    code = (
        "import os, signal\n"
        "from server.jobs.work_process import WorkProcess\n"
        "process = WorkProcess('work', str, 1)\n"
        "process.start()\n"
        "print(process._process.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=False
    )
    assert ended.returncode == -signal.SIGKILL
    orphan = int(ended.stdout)
    until(lambda: not goes_on(orphan), "the process whose parent is gone ends")


def goes_on(pid: int) -> bool:
    try:
        status: str = psutil.Process(pid).status()
    except psutil.NoSuchProcess:
        return False
    return status != str(psutil.STATUS_ZOMBIE)


def verdict_on(database: Database, submission_id: int) -> object:
    with database.read() as session:
        submission = find_submission(session, submission_id)
        assert submission is not None
        return submission.verdict and from_json(submission.verdict.document)
