"""A scenario that shows a violation, cut down to what a person would write."""

from collections.abc import Iterator
from dataclasses import replace

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.faults.catching import complaints
from server.marking.scenario import Scenario
from server.marking.verdict import Status

TIDY_MS = (100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
"""Pauses that people write."""


def shortened(
    exercise: Exercise, program: Program, requirement: int, scenario: Scenario
) -> Scenario:
    """Return the scenario with tidy, shorter times in which the program still fails.

    ``requirement`` is its number in the exercise; the scenario as given must show the violation.
    """

    def fails(tried: Scenario) -> bool:
        alone = replace(exercise, scenarios=(tried,))
        return complaints(alone, program).get(requirement) is Status.NOT_MET

    for number, step in enumerate(scenario.steps):
        for ms in _shorter(step.after_ms):
            steps = list(scenario.steps)
            steps[number] = replace(step, after_ms=ms)
            tried = replace(scenario, steps=tuple(steps))
            if fails(tried):
                scenario = tried
                break
    for ms in _shorter(scenario.run_on_ms):
        tried = replace(scenario, run_on_ms=ms)
        if fails(tried):
            return tried
    return scenario


def _shorter(ms: int) -> Iterator[int]:
    return (tidy for tidy in TIDY_MS if tidy < ms)
