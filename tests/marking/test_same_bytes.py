"""The same program, exercise and engine give the same bytes: in any process, on any thread."""

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import mark
from server.marking.verdict_form import to_json
from server.paths import EXERCISES

SLUG = "crate-infeed"
PROGRAMS = ("right-ready-bit", "wrong-stop-contact", "wrong-motor-latched")
"""A proved one, one that only random runs can judge fully, and one with evidence."""


def verdicts() -> str:
    """The whole verdicts of the programs, as one text."""
    folder = EXERCISES / SLUG
    exercise = load_exercise(folder)
    programs = {p.file.stem: p.program for p in load_programs(folder, exercise)}
    documents = [to_json(mark(exercise, programs[name])) for name in PROGRAMS]
    return json.dumps(documents, sort_keys=True)


@pytest.fixture(scope="module")
def expected() -> str:
    return verdicts()


@pytest.mark.parametrize("threads", ["1", "2"])
def test_another_process_gives_the_same_bytes(threads: str, expected: str) -> None:
    environment = os.environ | {"NUMBA_NUM_THREADS": threads, "PYTHONHASHSEED": threads}
    code = "from tests.marking.test_same_bytes import verdicts; print(verdicts())"
    finished = subprocess.run(
        [sys.executable, "-c", code],
        cwd=Path(__file__).parents[2],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert finished.stdout.strip() == expected


def test_two_threads_at_once_give_the_same_bytes(expected: str) -> None:
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(lambda _: verdicts(), range(2))
    assert first == second == expected
