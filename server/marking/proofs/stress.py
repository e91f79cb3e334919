"""The stress run: thousands of random minutes at the panel, beside the written scenarios.

Each lane begins as one of the exercise's scenarios begins and then plays random operator actions
for a minute of plant time; some blocks also let a fault come that the exercise's scenarios know.
Everything follows from the seed, so a violation can be found again, and shrunk.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.first_violations import first_beyond
from server.marking.machine import Assembled, assemble
from server.marking.proofs.beginnings import Beginnings
from server.marking.proofs.random_timeline import draw_block
from server.marking.proofs.shrinking import shrink
from server.marking.replay import NEVER, replay, replay_block
from server.marking.right_programs import right_programs_break
from server.marking.scenario import Scenario, faults_in
from server.scan.lanes import LANES

RUNS = 2048
"""Random runs of one stress run, each LENGTH_MS of plant time."""

LENGTH_MS = 60_000

FAULTY_BLOCKS = 4
"""Every so many-th block of 64 lanes has faults, if the exercise knows any."""

MOST_TRIED = 3
"""Runs of one block that are tried for one in which the right programs keep the requirement."""


@dataclass(frozen=True, slots=True)
class Violation:
    """A random run in which a monitor was violated first, shrunk to what it takes."""

    monitor: int
    scenario: Scenario
    scan: int


def stress_run(
    exercise: Exercise, program: Program, wanted: frozenset[int], seed: int, *, runs: int = RUNS
) -> dict[int, Violation]:
    """Look for runs in which a requirement of ``wanted`` is broken first; one of each, shrunk.

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
        own = {
            number: [m for (n, _), m in assembled.monitor_numbers.items() if n == number]
            for number in sorted(wanted - found.keys())
        }
        looked_at = [monitor for monitors in own.values() for monitor in monitors]
        lanes = np.flatnonzero((violated[looked_at] != NEVER).any(axis=0))
        scenarios = [begin.scenario(drawn, int(lane)) for lane in lanes]
        first = first_beyond(exercise, assembled, scenarios, violated[:, lanes])
        for number, monitors in own.items():
            hits = np.argwhere(first[monitors])
            for index, run in hits[:MOST_TRIED]:
                shortest = _shrink(exercise, assembled, monitors[index], scenarios[run])
                if not right_programs_break(exercise, number, shortest.scenario):
                    found[number] = shortest
                    break
    return found


def _shrink(
    exercise: Exercise, assembled: Assembled, monitor: int, scenario: Scenario
) -> Violation:
    """Leave out steps as long as the monitor is still violated, and first."""

    def violated(scenarios: Sequence[Scenario]) -> list[bool]:
        return [scan != NEVER for scan in _violations(exercise, assembled, monitor, scenarios)]

    shortest = shrink(scenario, violated)
    return Violation(monitor, shortest, _violations(exercise, assembled, monitor, [shortest])[0])


def _violations(
    exercise: Exercise, assembled: Assembled, monitor: int, scenarios: Sequence[Scenario]
) -> list[int]:
    """Return the scan of the monitor's violation in each scenario, if it is first, else NEVER."""
    if not scenarios:
        return []
    violated = replay(assembled, scenarios).violated
    first = first_beyond(exercise, assembled, scenarios, violated)[monitor]
    return [int(scan) for scan in np.where(first, violated[monitor], NEVER)]
