"""A gate that a position switch works, on the whole machine of a shipped exercise."""

from server.ladder.program import Program
from server.marking.files.exercise_file import load_exercise
from server.marking.machine import assemble
from server.marking.replay import trace
from server.marking.scenario import Put, Scenario
from server.paths import EXERCISES

END_STOP = 2.1
"""Where the exercise has the stop that ZS-355 opens at the top, m from the infeed."""


def test_a_gate_holds_while_the_switch_that_opens_it_is_off() -> None:
    exercise = load_exercise(EXERCISES / "case-lift")
    assembled = assemble(exercise, Program("none"))
    scenario = Scenario("a case rolls onto the lift", (), (Put("cases", 2.0, False),))
    front = trace(assembled, scenario, {"at": assembled.signals["cases.item1"]}, 100).signals["at"]
    assert abs(front[-1] - END_STOP) < 1e-9
