"""Marking in a process of its own gives the same verdicts, and outlives what may happen to it."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from typing import Any

import psutil
import pytest

from server.commands.serve import marking_for
from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.marking import mark
from server.marking.verdict_form import from_json
from server.marking_process import MarkingFailed, MarkingProcess
from server.paths import EXERCISES
from server.settings import Settings
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from server.store.submissions import find_submission
from tests.factories import make_assignment, make_section, make_submission, make_user

EXERCISE = "settling-tank"


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    with closing(Database(f"sqlite:///{tmp_path_factory.mktemp('data') / 'course.db'}")) as made:
        migrate(made)
        yield made


@pytest.fixture(scope="module")
def marker(database: Database) -> Iterator[MarkingProcess]:
    settings = Settings(database.place, ("http://127.0.0.1",), EXERCISES)
    with closing(MarkingProcess(partial(marking_for, settings))) as process:
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
def test_the_verdict_is_the_same(database: Database, marker: MarkingProcess, file: str) -> None:
    submission_id = submitted(database, file)
    marker.mark(submission_id)
    exercise = load_exercise(EXERCISES / EXERCISE)
    program = read_program(EXERCISES / EXERCISE / "programs" / file, exercise)
    assert verdict_on(database, submission_id) == mark(exercise, program)


def test_a_process_that_was_killed_is_replaced(database: Database, marker: MarkingProcess) -> None:
    marker.start()
    assert marker._process is not None
    assert marker._process.pid is not None
    os.kill(marker._process.pid, signal.SIGKILL)
    submission_id = submitted(database, FILES[0])
    marker.mark(submission_id)
    assert verdict_on(database, submission_id) is not None


def test_a_mistake_of_ours_is_told_and_the_process_goes_on(
    database: Database, marker: MarkingProcess
) -> None:
    broken = submitted(database, FILES[0], {"version": "none"})
    with pytest.raises(MarkingFailed):
        marker.mark(broken)
    submission_id = submitted(database, FILES[0])
    marker.mark(submission_id)
    assert verdict_on(database, submission_id) is not None


def test_it_ends_when_nobody_is_left_to_ask_it() -> None:
    code = (
        "import os, signal\n"
        "from server.marking_process import MarkingProcess\n"
        "process = MarkingProcess(str)\n"
        "process.start()\n"
        "print(process._process.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, timeout=60, check=False
    )
    assert ended.returncode == -signal.SIGKILL
    orphan = int(ended.stdout)
    deadline = time.monotonic() + 30
    while psutil.pid_exists(orphan) and psutil.Process(orphan).status() != psutil.STATUS_ZOMBIE:
        assert time.monotonic() < deadline, "the marking process goes on although nobody is there"
        time.sleep(0.1)


def verdict_on(database: Database, submission_id: int) -> object:
    with database.read() as session:
        submission = find_submission(session, submission_id)
        assert submission is not None
        return submission.verdict and from_json(submission.verdict.document)
