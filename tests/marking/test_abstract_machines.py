"""Requirements that ask the same of the plant share a machine, and are proved as if alone."""

from dataclasses import replace

import pytest

from server.marking.files.exercise_file import load_exercise
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.proof import provable, prove
from server.paths import EXERCISES


@pytest.mark.parametrize("slug", ["settling-tank", "crate-infeed"])
def test_a_shared_machine_proves_what_each_alone_does(slug: str) -> None:
    exercise = load_exercise(EXERCISES / slug)
    program = exercise.references[0]
    shared = AbstractMachines(exercise, program)
    numbers = [n for n in range(len(exercise.requirements)) if provable(exercise, n)]
    machines = {id(shared.of(n, exact_timers=True).machine) for n in numbers}
    assert len(machines) < len(numbers), "some are shared"
    for number in numbers:
        proof = prove(shared, number)
        requirement = exercise.requirements[number]
        others = tuple(
            r if r is requirement else replace(r, checks=()) for r in exercise.requirements
        )
        alone = prove(AbstractMachines(replace(exercise, requirements=others), program), number)
        assert (proof.outcome, proof.states, proof.transitions, proof.covers) == (
            alone.outcome,
            alone.states,
            alone.transitions,
            alone.covers,
        )
