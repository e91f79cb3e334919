"""A run cut down to the steps that it takes."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from server.marking.scenario import Scenario, Step

Shows = Callable[[Sequence[Scenario]], Sequence[bool]]
"""Says of each scenario whether it still shows what is looked for."""


MOST_ROUNDS = 40
"""A long run that takes more rounds stays longer than it could be."""


def shrink(scenario: Scenario, shows: Shows, rounds: int = MOST_ROUNDS) -> Scenario:
    """Leave out steps, many at once and then one by one, as long as the rest still shows it."""
    size = max(1, len(scenario.steps) // 2)
    for _ in range(rounds):
        steps = scenario.steps
        tries = [
            replace(scenario, steps=_without(steps, first, size))
            for first in range(0, len(steps), size)
        ]
        if not tries:
            break
        left = [each for each, shown in zip(tries, shows(tries), strict=True) if shown]
        if left:
            scenario = left[-1]
            size = min(size, max(1, len(scenario.steps)))
        elif size > 1:
            size //= 2
        else:
            break
    return scenario


def _without(steps: tuple[Step, ...], first: int, count: int) -> tuple[Step, ...]:
    """Return the steps without some.

    The next one is then waited for as long as all of them were.
    """
    kept = list(steps[:first] + steps[first + count :])
    waited = sum(step.after_ms for step in steps[first : first + count])
    if first < len(kept) and kept[first].when is None:
        later = kept[first]
        kept[first] = replace(later, after_ms=later.after_ms + waited)
    return tuple(kept)
