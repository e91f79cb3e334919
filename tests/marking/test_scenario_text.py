"""A printed scenario, pasted into an exercise file, is read back as it was."""

from dataclasses import replace
from pathlib import Path

import pytest

from server.marking.files.document import Document, read_document
from server.marking.files.exercise_file import build_exercise, list_exercises
from server.marking.presentation.scenario_text import scenario_text
from server.marking.scenario import Scenario
from server.paths import EXERCISES


@pytest.mark.parametrize("folder", list_exercises(EXERCISES), ids=lambda folder: folder.name)
def test_every_shipped_scenario_is_read_back_as_it_was(folder: Path) -> None:
    content = (folder / "exercise.yaml").read_bytes()
    exercise = build_exercise(_read(content), folder.name)
    head = content.decode().split("\nscenarios:\n")[0]
    told = "".join(scenario_text(scenario, exercise) for scenario in exercise.scenarios)
    again = build_exercise(_read(f"{head}\nscenarios:\n{told}".encode()), folder.name)
    assert [_plain(s) for s in again.scenarios] == [_plain(s) for s in exercise.scenarios]


def _read(content: bytes) -> Document:
    return read_document("exercise.yaml", content)


def _plain(scenario: Scenario) -> Scenario:
    """Without whether it is open, which the author decides."""
    return replace(scenario, open=False)
