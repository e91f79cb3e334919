"""Runs in which a requirement breaks only because something was done when another broke anyway.

A horn that gives up after a while falls silent in some random run just as Reset is pressed. Where
the same run, but with one control left alone, breaks another requirement at the same moment, that
control has not brought it about: the other requirement is the one that is not met. Both must be
about the same output.
"""

from collections.abc import Mapping, Set
from dataclasses import replace

from server.ladder.program import Program
from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.first_violations import first_beyond, tolerance_scans
from server.marking.judged_outputs import judged_outputs
from server.marking.machine import assemble
from server.marking.replay import replay
from server.marking.scenario import Scenario, Turn, faults_in


def coincidences(
    exercise: Exercise,
    program: Program,
    runs: Mapping[int, tuple[Scenario, int]],
    broken: Set[int],
) -> dict[int, int]:
    """Return which of ``runs`` break a requirement by coincidence, and which is broken anyway.

    ``runs`` has, by the number of a requirement, a random run that breaks it and the scan at which
    it does; ``broken`` are the requirements that are not met, those of ``runs`` among them.
    """
    if not runs:
        return {}
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    late = tolerance_scans(exercise)
    found: dict[int, int] = {}
    for number, (scenario, scan) in runs.items():
        fewer = [_without(scenario, control) for control in _worked(scenario)]
        others = broken - found.keys() - {number}
        if not fewer or not others:
            continue
        violated = replay(assembled, fewer).violated
        first = first_beyond(exercise, assembled, fewer, violated)
        same = first & (abs(violated - scan) <= late)
        outputs = _outputs(exercise, number)
        anyway = {
            n
            for (n, _), monitor in assembled.monitor_numbers.items()
            if same[monitor].any() and outputs & _outputs(exercise, n)
        }
        if anyway & others:
            found[number] = min(anyway & others)
    return found


def _outputs(exercise: Exercise, number: int) -> set[str]:
    """Return the outputs that a requirement is about."""
    checks = exercise.requirements[number].checks
    patterns = [check for check in checks if isinstance(check, Pattern)]
    return {symbol for check in patterns for symbol in judged_outputs(exercise, check)}


def _worked(scenario: Scenario) -> dict[str, None]:
    """Return the controls that are worked in the steps, in their order."""
    actions = (action for step in scenario.steps for action in step.actions)
    return dict.fromkeys(action.control for action in actions if isinstance(action, Turn))


def _without(scenario: Scenario, control: str) -> Scenario:
    """Return the run at the same times, with one control left as the start has it."""
    steps = tuple(
        replace(
            step,
            actions=tuple(
                action
                for action in step.actions
                if not isinstance(action, Turn) or action.control != control
            ),
        )
        for step in scenario.steps
    )
    return replace(scenario, steps=steps)
