"""A requirement that breaks only as another breaks anyway is not blamed."""

from server.marking.coincidences import coincidences
from server.marking.scenario import Scenario, Step, Turn
from tests.marking.apple_sump import EXERCISE, sump_program
from tests.marking.test_endurance import program

STARTS_ITSELF = program(
    """
    NOT sump_high AND idle(PT := T#2s);
    fill_pump := idle.Q;
    lamp := idle.Q;
    """,
    "idle : TON;",
)
NUMBERS = {requirement.id: number for number, requirement in enumerate(EXERCISE.requirements)}


def test_a_control_that_is_worked_as_another_requirement_breaks_anyway_is_no_cause() -> None:
    alone = Scenario("", (), run_on_ms=4000)
    pressed = Scenario("", (Step((Turn("panel.stop_pb", True),), 1980),), run_on_ms=2000)
    stop, only, lamp = (NUMBERS[number] for number in ("R2", "R3", "R4"))
    scan = 2000 // EXERCISE.period_ms
    runs = {only: (alone, scan), stop: (pressed, scan)}
    assert coincidences(EXERCISE, STARTS_ITSELF, runs, {stop, only}) == {stop: only}
    assert coincidences(EXERCISE, STARTS_ITSELF, runs, {stop}) == {}, "the other one is met"
    assert coincidences(EXERCISE, STARTS_ITSELF, runs, {stop, lamp}) == {}, "another output"
    later = {stop: (pressed, 2 * scan)}
    assert coincidences(EXERCISE, STARTS_ITSELF, later, {stop, only}) == {}, "another moment"
    assert coincidences(EXERCISE, sump_program(), runs, {stop, only}) == {}
