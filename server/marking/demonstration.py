"""A run of the server's own in which a program breaks a requirement, for a student to watch.

It is sought among random runs that begin as open scenarios do. No step, time or starting state
of a hidden scenario is in it; only the faults that may come are those of all scenarios, as a fault
with which no right program can cope would show nothing. ``demonstrate_scenario`` shows a scenario
itself, where that is released.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from server.ladder.program import Program
from server.marking.causes.cause import Reason, why
from server.marking.causes.rehearsal import SUPPLY
from server.marking.coverage.endurance import endurance_run
from server.marking.exercise import Exercise
from server.marking.faults.faulty_place import BrokenRun, FaultyPlace, faulty_place
from server.marking.judged_outputs import judged_outputs
from server.marking.machine import kept_frame
from server.marking.marking import seed_of
from server.marking.proofs.stress import Violation, stress_run
from server.marking.replay import NEVER, replay, step_scans
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.marking.trial.trial import Recorded, TrialRun

LANE = np.uint64(1)
"""The lane of a trial run."""

AFTER_MS = 2000
"""How long a demonstration goes on after the violation."""


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A run as a trial run records it, and the scan that violates the requirement.

    ``reasons`` are the causes of what is seen in that scan, the nearest first; ``faulty`` is the
    place in the program at which they end.
    """

    run: Recorded
    scan: int
    reasons: tuple[Reason, ...]
    faulty: FaultyPlace

    @property
    def signals(self) -> tuple[str, ...]:
        """The signals of the causes that no point has, by lower-case name."""
        points = {v.symbol for v in self.run.program.variables if v.address is not None}
        named = dict.fromkeys(reason.signal.lower() for reason in self.reasons)
        return tuple(name for name in named if name not in points and name != SUPPLY)


def demonstrate(exercise: Exercise, program: Program, requirement: str) -> Demonstration | None:
    """Return a run in which a program breaks a requirement first; None if none is found."""
    [number] = [n for n, each in enumerate(exercise.requirements) if each.id == requirement]
    for violation in _violations(exercise, program, number):
        end = violation.scan + AFTER_MS // exercise.period_ms
        recorded = Recorded(program, _events(violation.scenario, exercise.period_ms, end), end)
        run = _run_again(exercise, recorded, violation.scan)
        if run.live.memory.bits[run.live.assembled.monitors[violation.monitor].violated] & LANE:
            return _explained(exercise, recorded, run, number, violation)
    return None


def demonstrate_scenario(
    exercise: Exercise, program: Program, requirement: str, scenario: Scenario
) -> Demonstration | None:
    """Return the run of a scenario in which a program breaks a requirement; None if it does not.

    It shows every action of the scenario: a hidden one is for those to whom it was released.
    """
    [number] = [n for n, each in enumerate(exercise.requirements) if each.id == requirement]
    assembled = kept_frame(exercise, None).assembled(program)
    violated = replay(assembled, [scenario]).violated[:, 0]
    own = [i for (each, _), i in assembled.monitor_numbers.items() if each == number]
    monitor = min(own, key=lambda i: int(violated[i]))
    scan = int(violated[monitor])
    if scan == NEVER:
        return None
    taken = step_scans(assembled, scenario, scan + 1)
    recorded = Recorded(
        program,
        (
            *((0, action) for action in scenario.start),
            *(
                (at, action)
                for at, step in zip(taken, scenario.steps, strict=False)
                for action in step.actions
            ),
        ),
        scan + AFTER_MS // exercise.period_ms,
    )
    run = _run_again(exercise, recorded, scan)
    return _explained(exercise, recorded, run, number, Violation(monitor, scenario, scan))


def _violations(exercise: Exercise, program: Program, number: int) -> Iterator[Violation]:
    """Yield runs of random minutes, then of a working day, that break a requirement first."""
    begun = tuple(s for s in exercise.scenarios if s.open)
    shown = replace(exercise, scenarios=(*begun, _with_every_fault(exercise)))
    wanted = frozenset([number])
    yield from stress_run(shown, program, wanted, seed_of(exercise, program)).values()
    yield from endurance_run(shown, program, wanted).get(number, ())


def _run_again(exercise: Exercise, recorded: Recorded, scan: int) -> TrialRun:
    """Return a recorded run as it stands after a scan."""
    run = TrialRun.load(exercise, recorded)
    while run.scan <= scan:
        run.step(scan + 1 - run.scan)
    return run


def _explained(
    exercise: Exercise, recorded: Recorded, run: TrialRun, number: int, violation: Violation
) -> Demonstration:
    """Return a demonstration with the causes of what the outputs that are judged do at its end."""
    program, scan = recorded.program, violation.scan
    check = run.live.assembled.checks[violation.monitor]
    history = run.history(scan)
    view = exercise.view(program)
    own = [view.own_name(symbol) for symbol in judged_outputs(exercise, check)]
    chains = [why(program, history, symbol, scan, exercise.points) for symbol in own if symbol]
    reasons = tuple(dict.fromkeys(reason for chain in chains for reason in chain))
    broken = BrokenRun(number, violation.scenario, history, reasons)
    return Demonstration(recorded, scan, reasons, faulty_place(exercise, program, broken))


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
