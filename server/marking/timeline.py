"""From scenarios to the arrays that the loop follows, one scenario a lane."""

from collections.abc import Sequence

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.kept import kept
from server.marking.machine import Assembled, kept_frame
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Turn
from server.plant.loop import ADJUST, AFTER, CLEAR, PLACE, TURN, WHEN, WHEN_OR_AFTER, Timeline
from server.plant.track import ItemRows
from server.scan.lanes import LANES


def timeline_of(scenarios: Sequence[Scenario], assembled: Assembled) -> Timeline:
    """Return the timelines of at most 64 scenarios; lanes without one end at once."""
    assert len(scenarios) <= LANES, "one scenario a lane"
    period = assembled.machine.period_ms
    steps: list[tuple[int, int, int, int, int]] = []
    actions: list[tuple[int, int]] = []
    values: list[tuple[float, float, float, float]] = []
    first, last = np.zeros(LANES, np.int64), np.zeros(LANES, np.int64)
    run_on = np.zeros(LANES, np.int64)

    def act(done: Sequence[Action]) -> tuple[int, int]:
        begin = len(actions)
        for action in done:
            kind, target, value = _action(action, assembled)
            actions.append((kind, target))
            values.append(value)
        return begin, len(actions)

    for lane, scenario in enumerate(scenarios):
        first[lane] = len(steps)
        if scenario.start:
            steps.append((AFTER, 0, 0, *act(scenario.start)))
        for step in scenario.steps:
            taken = act(step.actions)
            if step.when is None:
                steps.append((AFTER, -(-step.after_ms // period), 0, *taken))
            else:
                patience = step.within_ms // period
                waits = WHEN_OR_AFTER if step.goes_on else WHEN
                steps.append((waits, assembled.conditions[step.when.text], patience, *taken))
        last[lane] = len(steps)
        run_on[lane] = scenario.run_on_ms // period
    return Timeline(
        np.array(steps, np.int64).reshape(-1, 5),
        np.array(actions, np.int64).reshape(-1, 2),
        np.array(values, np.float64).reshape(-1, 4),
        first,
        last,
        run_on,
    )


@kept
def suite_timelines(exercise: Exercise, faults: frozenset[str]) -> tuple[Timeline, ...]:
    """Return the timelines of all scenarios, 64 at a time, in the machines of a kept frame."""
    empty = kept_frame(exercise, faults).assembled(Program("none"))
    starts = range(0, len(exercise.scenarios), LANES)
    return tuple(timeline_of(exercise.scenarios[i : i + LANES], empty) for i in starts)


def _action(
    action: Action, assembled: Assembled
) -> tuple[int, int, tuple[float, float, float, float]]:
    match action:
        case Turn(control, on):
            return TURN, assembled.plane(control), (float(on), 0.0, 0.0, 0.0)
        case Adjust(quantity, value):
            return ADJUST, assembled.row(quantity), (value, 0.0, 0.0, 0.0)
        case Put(_, position, marked):
            items = _items(assembled)
            return PLACE, items.base, (position, float(marked), *_measures(items))
        case Clear(_, begin, end):
            items = _items(assembled)
            return CLEAR, items.base, (begin, end, *_measures(items))


def _items(assembled: Assembled) -> ItemRows:
    assert assembled.items is not None, "items are put on a conveyor"
    return assembled.items


def _measures(items: ItemRows) -> tuple[float, float]:
    return float(items.slots), items.track.room
