"""Random runs: buttons at once, long pauses, faults that go again, hands in the plant."""

from itertools import accumulate

import pytest

from server.marking.files.exercise_file import load_exercise
from server.marking.machine import assemble
from server.marking.proofs.beginnings import Beginnings
from server.marking.proofs.random_timeline import draw_block
from server.marking.proofs.stress import LENGTH_MS
from server.marking.scenario import Scenario, Turn, faults_in
from server.paths import EXERCISES
from server.scan.lanes import LANES


@pytest.fixture(scope="module")
def runs() -> list[Scenario]:
    exercise = load_exercise(EXERCISES / "apple-wash-sump")
    assembled = assemble(exercise, exercise.references[0], faults=faults_in(exercise.scenarios))
    begin = Beginnings.of(exercise, assembled)
    drawn = draw_block(7, 0, begin.panel, begin.timeline, exercise.period_ms, LENGTH_MS)
    return [begin.scenario(drawn, lane) for lane in range(LANES)]


def turns(run: Scenario) -> list[Turn]:
    return [a for step in run.steps for a in step.actions if isinstance(a, Turn)]


def test_a_run_lasts_a_minute_or_ends_with_its_last_action(runs: list[Scenario]) -> None:
    for run in runs:
        last = sum(step.after_ms for step in run.steps)
        assert last + run.run_on_ms == max(last, LENGTH_MS)


def test_a_button_is_held_while_others_are_worked(runs: list[Scenario]) -> None:
    def overlaps(run: Scenario) -> bool:
        pressed = accumulate(
            (turn for turn in turns(run) if turn.control in ("panel.fill_pb", "panel.stop_pb")),
            lambda held, turn: held | {turn.control} if turn.on else held - {turn.control},
            initial=frozenset[str](),
        )
        return any(len(held) > 1 for held in pressed)

    assert any(map(overlaps, runs))
    assert not all(map(overlaps, runs))


def test_a_fault_comes_once_and_goes_again_in_some_runs(runs: list[Scenario]) -> None:
    faults = [[t.on for t in turns(run) if t.control.startswith("fault.")] for run in runs]
    assert {tuple(each) for each in faults} == {(), (True,), (True, False)}


def test_a_hand_sets_the_plant_in_mid_run_as_scenarios_do(runs: list[Scenario]) -> None:
    hands = [a for run in runs for step in run.steps for a in step.actions]
    assert any(not isinstance(action, Turn) for action in hands)


def test_some_pauses_are_long(runs: list[Scenario]) -> None:
    assert max(step.after_ms for run in runs for step in run.steps) > 20_000
