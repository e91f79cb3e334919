"""A run of the server's own that shows how a program breaks a requirement."""

from dataclasses import replace

import pytest

from server.ladder.text_form import parse_rungs
from server.marking.demonstration import LANE, demonstrate, demonstrate_scenario
from server.marking.faults.places import broken_runs
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import mark
from server.marking.trial.trial import TrialRun
from server.paths import EXERCISES as SHIPPED
from tests.exercises.faulty_elements import places_that_differ
from tests.factories import EXERCISES
from tests.web.lab import OVERFILLS, RIGHT


def test_a_run_without_hidden_scenarios_shows_what_a_wrong_program_breaks() -> None:
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    wrong, right = (
        replace(start_program(exercise), rungs=parse_rungs("\n".join(rungs)))
        for rungs in (OVERFILLS, RIGHT)
    )
    found = demonstrate(exercise, wrong, "R2b")
    assert found is not None
    words = found.faulty.describe(wrong)
    assert words == "rung 1, beside normally open contact stop_pb at %IX0.1", "sump_high is missing"
    assert found.reasons[0].signal == "fill_pump"
    run = TrialRun.load(exercise, found.run)
    run.step(found.scan)
    level = run.live.assembled.row("sump.level")
    assert run.live.memory.quantities[level, 0] > 1.0, "LSH-203 switches at 1 m"
    assert demonstrate(exercise, right, "R2b") is None


def test_a_scenario_of_the_suite_happens_again_as_a_trial_run() -> None:
    """Its steps wait for the plant, which no run of the server's own brings there."""
    exercise = load_exercise(SHIPPED / "carton-lane")
    programs = {p.file.name: p.program for p in load_programs(SHIPPED / "carton-lane", exercise)}
    wrong = programs["wrong-level-for-edge.st"]
    broken = broken_runs(exercise, mark(exercise, wrong))
    [number] = [n for n, each in enumerate(exercise.requirements) if each.id == "R2a"]
    scenario, scan = broken[number]
    assert any(step.when for step in scenario.steps)
    found = demonstrate_scenario(exercise, wrong, "R2a", scenario)
    assert found is not None
    run = TrialRun.load(exercise, found.run)
    run.step(found.scan)
    planes = [
        run.live.assembled.monitors[i].violated
        for (each, _), i in run.live.assembled.monitor_numbers.items()
        if each == number
    ]
    assert not any(run.live.memory.bits[planes] & LANE)
    run.step(1)
    assert any(run.live.memory.bits[planes] & LANE)
    assert found.scan == scan
    right = next(each for name, each in programs.items() if name.startswith("right"))
    assert demonstrate_scenario(exercise, right, "R2a", scenario) is None


@pytest.mark.parametrize(
    ("folder", "name", "requirement"),
    [
        ("sugar-day-tank", "wrong-dose-too-long.st", "R3a"),  # the number of a timer
        ("apple-wash-sump", "wrong-no-interlock.st", "R3"),  # an element is missing
    ],
)
def test_the_causes_end_where_the_nearest_right_program_differs(
    folder: str, name: str, requirement: str
) -> None:
    """All wrong programs that ship: ``python -m tests.exercises.faulty_elements``."""
    exercise = load_exercise(SHIPPED / folder)
    programs = {each.file.name: each for each in load_programs(SHIPPED / folder, exercise)}
    found = demonstrate(exercise, programs[name].program, requirement)
    assert found is not None
    right = [each.program for each in programs.values() if each.right]
    assert found.faulty.place in places_that_differ(programs[name].program, right)
