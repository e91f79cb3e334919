"""Marking in a process of its own gives the same verdicts, and outlives what may happen to it."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psutil
import pytest

from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.marking import mark
from server.marking_process import MarkingFailed, MarkingProcess
from server.paths import EXERCISES

FOLDER = EXERCISES / "settling-tank"


@pytest.fixture(scope="module")
def exercise() -> Exercise:
    return load_exercise(FOLDER)


@pytest.fixture(scope="module")
def marker() -> Iterator[MarkingProcess]:
    with closing(MarkingProcess()) as process:
        yield process


@pytest.mark.parametrize(
    "path", sorted((FOLDER / "programs").glob("*.st"))[::3], ids=lambda p: p.stem
)
def test_the_verdict_is_the_same(marker: MarkingProcess, exercise: Exercise, path: Path) -> None:
    program = read_program(path, exercise)
    assert marker.mark(exercise, program) == mark(exercise, program)


def test_a_process_that_was_killed_is_replaced(marker: MarkingProcess, exercise: Exercise) -> None:
    program = read_program(next((FOLDER / "programs").glob("right-*.st")), exercise)
    verdict = marker.mark(exercise, program)
    assert marker._process is not None
    assert marker._process.pid is not None
    os.kill(marker._process.pid, signal.SIGKILL)
    assert marker.mark(exercise, program) == verdict


def test_a_mistake_of_ours_is_told_and_the_process_goes_on(
    marker: MarkingProcess, exercise: Exercise
) -> None:
    program = read_program(next((FOLDER / "programs").glob("right-*.st")), exercise)
    with pytest.raises(MarkingFailed, match="AttributeError"):
        marker.mark(exercise, "no program")  # type: ignore[arg-type]
    assert marker.mark(exercise, program) == mark(exercise, program)


def test_it_ends_when_nobody_is_left_to_ask_it() -> None:
    code = (
        "import os, signal\n"
        "from server.marking_process import MarkingProcess\n"
        "process = MarkingProcess()\n"
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
