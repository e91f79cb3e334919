"""Every shipped exercise: right programs pass, wrong ones fail as stated, the bars are kept."""

from functools import cache
from pathlib import Path

import pytest

from server.marking.authoring.exercise_check import WITHOUT_CAUSES, check_exercise
from server.marking.exercise import Exercise, RequirementKind
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import list_exercises, load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import Effort
from server.paths import EXERCISES

FOLDERS = list_exercises(EXERCISES)
QUICK = Effort(runs=0, work=200_000, edits=0)
"""Enough for most; what only random runs and long searches find takes its time."""


@cache
def loaded(folder: Path) -> Exercise:
    return load_exercise(folder)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_reference_programs_are_marked_as_stated(folder: Path) -> None:
    report = check_exercise(folder, (QUICK, WITHOUT_CAUSES))
    assert report.findings == ()
    assert report.advice == ()


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_an_exercise_keeps_the_bars(folder: Path) -> None:
    exercise = loaded(folder)
    programs = load_programs(folder, exercise)
    numbers = [requirement.id for requirement in exercise.requirements]
    sentences = {number.rstrip("abcdef") for number in numbers}
    kinds = {requirement.kind for requirement in exercise.requirements}
    assert 4 <= len(sentences) <= 7
    assert any(number.endswith("b") for number in numbers), "a sentence with two demands"
    assert kinds == set(RequirementKind)
    assert len(exercise.scenarios) >= 24
    assert 1 <= sum(scenario.open for scenario in exercise.scenarios) <= 3
    assert sum(program.right for program in programs) >= 2
    assert sum(not program.right for program in programs) >= 8


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_every_requirement_has_an_outcome(folder: Path) -> None:
    exercise = loaded(folder)
    assert all(requirement.outcomes for requirement in exercise.requirements)
    used = {outcome for requirement in exercise.requirements for outcome in requirement.outcomes}
    assert used == set(exercise.outcomes)


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("right-a", "// fails: R2\n", "contradict each other. Take its '// fails:' away."),
        ("wrong-a", "", "contradict each other. Write '// fails: R1' above PROGRAM."),
        ("wrong-a", "// fails: R99\n", "The exercise has no requirement R99."),
        ("good-a", "", "The name begins with neither 'right-' nor 'wrong-'. Rename the file."),
    ],
)
def test_a_reference_program_says_what_it_must_fail(
    tmp_path: Path, name: str, text: str, message: str
) -> None:
    (tmp_path / "programs").mkdir()
    file = tmp_path / "programs" / f"{name}.st"
    file.write_text(f"{text}PROGRAM p\n;\nEND_PROGRAM\n", "utf-8")
    with pytest.raises(FileFault) as refused:
        load_programs(tmp_path, loaded(FOLDERS[0]))
    assert message in str(refused.value)
    assert str(refused.value).startswith(f"{file}:1:1: ")
