"""A run of the server's own in which a program breaks a requirement, for a student to watch.

It is sought among random runs that begin as open scenarios do. No step, time or starting state
of a hidden scenario is in it; only the faults that may come are those of all scenarios, as a fault
with which no right program can cope would show nothing.
"""

from dataclasses import dataclass, replace

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.marking import seed_of
from server.marking.proofs.stress import stress_run
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.marking.trial.trial import Recorded, TrialRun

AFTER_MS = 2000
"""How long a demonstration goes on after the violation."""


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A run as a trial run records it, and the scan that violates the requirement."""

    run: Recorded
    scan: int


def demonstrate(exercise: Exercise, program: Program, requirement: str) -> Demonstration | None:
    """Return a run in which a program breaks a requirement first; None if none is found."""
    numbers = [n for n, each in enumerate(exercise.requirements) if each.id == requirement]
    begun = tuple(s for s in exercise.scenarios if s.open)
    shown = replace(exercise, scenarios=(*begun, _with_every_fault(exercise)))
    found = stress_run(shown, program, frozenset(numbers), seed_of(exercise, program))
    for number, violation in found.items():
        end = violation.scan + AFTER_MS // exercise.period_ms
        run = Recorded(program, _events(violation.scenario, exercise.period_ms, end), end)
        if _violates(exercise, run, number, violation.scan):
            return Demonstration(run, violation.scan)
    return None


def _with_every_fault(exercise: Exercise) -> Scenario:
    """Return a scenario, never run, by which random runs know the faults that may come."""
    faults = sorted(faults_in(exercise.scenarios))
    return Scenario("every fault", (Step(tuple(Turn(fault, True) for fault in faults)),))


def _events(scenario: Scenario, period_ms: int, end: int) -> tuple[tuple[int, Action], ...]:
    """Return the actions of a random run with the scans before which they are taken."""
    events = [(0, action) for action in scenario.start]
    at_ms = 0
    for step in scenario.steps:
        at_ms += step.after_ms
        events += [(at_ms // period_ms, action) for action in step.actions]
    return tuple(event for event in events if event[0] <= end)


def _violates(exercise: Exercise, recorded: Recorded, number: int, scan: int) -> bool:
    """Return whether a recorded run, run again, violates a check of a requirement by a scan."""
    run = TrialRun.load(exercise, recorded)
    while run.scan <= scan:
        run.step(scan + 1 - run.scan)
    assembled = run.live.assembled
    return any(
        bool(run.live.memory.bits[assembled.monitors[monitor].violated] & np.uint64(1))
        for (requirement, _), monitor in assembled.monitor_numbers.items()
        if requirement == number
    )
