"""The stress run: thousands of random minutes at the panel, beside the written scenarios.

Each lane begins as one of the exercise's scenarios begins and then plays random operator actions
for a minute of plant time; some blocks also let a fault come that the exercise's scenarios know.
Everything follows from the seed, so a violation can be found again, and shrunk.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.proofs.beginnings import Beginnings
from server.marking.proofs.random_timeline import DrawnBlock, draw_block
from server.marking.proofs.shrinking import shrink
from server.marking.replay import NEVER, replay, replay_block
from server.marking.scenario import Scenario, faults_in
from server.scan.lanes import LANES

RUNS = 2048
"""Random runs of one stress run, each LENGTH_MS of plant time."""

LENGTH_MS = 60_000

FAULTY_BLOCKS = 4
"""Every so many-th block of 64 lanes has faults, if the exercise knows any."""


@dataclass(frozen=True, slots=True)
class Violation:
    """A random run in which a monitor was violated, shrunk to what it takes."""

    monitor: int
    scenario: Scenario
    scan: int


def stress_run(
    exercise: Exercise, program: Program, wanted: frozenset[int], seed: int, *, runs: int = RUNS
) -> dict[int, Violation]:
    """Look for violations of the requirements ``wanted``; the first of each, shrunk.

    ``seed`` is a whole number of at most 64 bits.
    """
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    begin = Beginnings.of(exercise, assembled)
    found: dict[int, Violation] = {}
    for block in range(-(-runs // LANES)):
        faulty = block % FAULTY_BLOCKS == FAULTY_BLOCKS - 1
        panel = begin.panel if faulty else begin.panel._replace(faults=np.zeros(0, np.int64))
        drawn = draw_block(
            seed, block, panel, begin.timeline, assembled.machine.period_ms, LENGTH_MS
        )
        violated = replay_block(assembled, drawn.timeline)[0]
        for number in sorted(wanted - found.keys()):
            hit = _first(exercise, assembled, number, violated, begin, drawn)
            if hit is not None:
                found[number] = _shrink(assembled, *hit)
    return found


def _first(
    exercise: Exercise,
    assembled: Assembled,
    number: int,
    violated: NDArray[np.int64],
    begin: Beginnings,
    drawn: DrawnBlock,
) -> tuple[int, Scenario] | None:
    """Return the first lane that violates a check of a requirement, where it is judged."""
    allowed = faults_in(exercise.scenarios_judging(number))
    for (requirement, index), monitor in assembled.monitor_numbers.items():
        if requirement != number or exercise.requirements[number].checks[index].scenarios:
            continue
        for lane in np.flatnonzero(violated[monitor] != NEVER):
            scenario = begin.scenario(drawn, int(lane))
            if faults_in([scenario]) <= allowed:
                return monitor, scenario
    return None


def _shrink(assembled: Assembled, monitor: int, scenario: Scenario) -> Violation:
    """Leave out steps as long as the monitor is still violated."""

    def violated(scenarios: Sequence[Scenario]) -> list[bool]:
        return [first != NEVER for first in _violations(assembled, monitor, scenarios)]

    shortest = shrink(scenario, violated)
    return Violation(monitor, shortest, _violations(assembled, monitor, [shortest])[0])


def _violations(assembled: Assembled, monitor: int, scenarios: Sequence[Scenario]) -> list[int]:
    if not scenarios:
        return []
    return [int(first) for first in replay(assembled, scenarios).violated[monitor]]
