"""What a hand moves in the plant is part of the search, where scenarios move it, too."""

from dataclasses import replace

import pytest

from server.marking.exercise import Exercise, Requirement, RequirementKind
from server.marking.files.exercise_file import load_exercise
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import replay_suspicion
from server.marking.proofs.proof import Outcome, prove
from server.marking.scenario import Action, Adjust, Put, Scenario, Step
from server.paths import EXERCISES
from tests.marking.checks import pattern

CASES = [
    ("crate-infeed", "crate_at_end", "infeed_motor", Put("infeed", 3.8)),
    ("apple-wash-sump", "sump_high", "fill_pump", Adjust("sump.level", 1.0)),
]


def exercise(slug: str, sensed: str, motor: str, *moves: Action) -> Exercise:
    """An exercise that asks for what is true only while no hand moves anything in the plant."""
    check = pattern(only=sensed, after=motor)
    asked = Requirement("R1", "", RequirementKind.STATED, (check,))
    scenario = Scenario("by hand", tuple(Step((move,), 500) for move in moves))
    return replace(load_exercise(EXERCISES / slug), requirements=(asked,), scenarios=(scenario,))


@pytest.mark.parametrize(("slug", "sensed", "motor", "move"), CASES)
def test_what_holds_without_a_hand_is_proved_for_that_alone(
    slug: str, sensed: str, motor: str, move: Action
) -> None:
    untouched = exercise(slug, sensed, motor)
    proof = prove(AbstractMachines(untouched, untouched.references[0]), 0)
    assert proof.outcome is Outcome.PROVED
    assert "items moved by hand were not tried" in proof.covers


@pytest.mark.parametrize(("slug", "sensed", "motor", "move"), CASES)
def test_what_a_hand_breaks_is_refuted_and_replayed_on_the_plant(
    slug: str, sensed: str, motor: str, move: Action
) -> None:
    touched = exercise(slug, sensed, motor, move)
    program = touched.references[0]
    proof = prove(AbstractMachines(touched, program), 0)
    assert proof.outcome is Outcome.REFUTED
    assert proof.suspicion is not None
    replayed = replay_suspicion(touched, program, 0, proof.suspicion)
    assert replayed is not None
    assert replayed.nominal
    done = [type(action) for step in replayed.scenario.steps for action in step.actions]
    assert type(move) in done
