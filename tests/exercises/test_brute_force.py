"""Proof against brute force: every sequence of actions, played on the plant itself.

What was proved must not be violated in any of them: controls in every order, loss of power, items
put down and taken away by hand, levels set by hand.
"""

from collections.abc import Iterator
from functools import cache
from itertools import product

import pytest

from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import ReferenceProgram, load_programs
from server.marking.machine import assemble
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.proof import Outcome, provable, prove
from server.marking.replay import NEVER, replay
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Step, Turn
from server.paths import EXERCISES
from server.plant.devices import kind_of

LENGTH = 3
"""Actions of a sequence."""

GAPS_MS = (20, 400)
"""Actions come in neighboring scans, or so that the plant moves between them."""

SLUGS = ("apple-wash-sump", "crate-infeed")


def actions(exercise: Exercise) -> Iterator[tuple[Action, ...]]:
    """What may be done in one step: each control on or off, the supply, a hand in the plant."""
    for name in ["power", *(f"panel.{p.symbol}" for p in exercise.points if kind_of(p).by_hand)]:
        yield (Turn(name, False),)
        yield (Turn(name, True),)
    plant = exercise.plant
    for switch in plant.level_switches:
        yield (Adjust(f"{switch.vessel}.level", switch.height - 0.1),)
        yield (Adjust(f"{switch.vessel}.level", switch.height + 0.1),)
    for eye in plant.eyes:
        yield (Put("", eye.at + 0.05),)
        yield (Clear("", eye.at - 0.2, eye.at + 1.0),)


@cache
def sequences(slug: str) -> tuple[Scenario, ...]:
    """Every sequence, with each of the gaps."""
    known = list(actions(load_exercise(EXERCISES / slug)))
    return tuple(
        Scenario("", tuple(Step(done, gap) for done in chosen), run_on_ms=600)
        for gap in GAPS_MS
        for chosen in product(known, repeat=LENGTH)
    )


def programs() -> list[tuple[str, ReferenceProgram]]:
    return [
        (slug, program)
        for slug in SLUGS
        for program in load_programs(EXERCISES / slug, load_exercise(EXERCISES / slug))
    ]


@pytest.mark.parametrize(
    ("slug", "program"), [pytest.param(s, p, id=f"{s}/{p.file.stem}") for s, p in programs()]
)
def test_no_sequence_of_actions_violates_what_is_proved(
    slug: str, program: ReferenceProgram
) -> None:
    exercise = load_exercise(EXERCISES / slug)
    machines = AbstractMachines(exercise, program.program)
    proved = {
        number
        for number in range(len(exercise.requirements))
        if provable(exercise, number) and prove(machines, number).outcome is Outcome.PROVED
    }
    assembled = assemble(exercise, program.program, faults=())
    violated = (replay(assembled, sequences(slug)).violated != NEVER).any(axis=1)
    broken = {n for (n, _), monitor in assembled.monitor_numbers.items() if violated[monitor]}
    assert not proved & broken
    assert proved or broken, "something is told of every program"
