"""Random timelines for the stress run, drawn in compiled code: 64 lanes of a minute each.

Everything follows from a seed by SplitMix64 (Steele, Lea, Flood, OOPSLA 2014; constants from
memory), so that a lane is the same in every process and on every machine.
"""

from typing import NamedTuple

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.plant.loop import AFTER, TURN, Timeline
from server.scan.jit import allocating, jitted
from server.scan.lanes import LANES

MOST_STEPS = 24
PRESS_MS = (100, 1500)
PAUSE_MS = (200, 6000)


class PanelControls(NamedTuple):
    """What may be done at random.

    ``controls`` int64[n, 4]: plane, 1 for a control that stays as it is set, number of its
    selector switch or -1, value at rest. A control is drawn with weight ``weights`` int64[n].
    ``faults`` int64[m]: planes of which one comes once.
    """

    controls: NDArray[np.int64]
    weights: NDArray[np.int64]
    faults: NDArray[np.int64]


class DrawnBlock(NamedTuple):
    """A block of timelines, and the number of the beginning that each lane drew."""

    timeline: Timeline
    start: NDArray[np.int64]


def draw_block(
    seed: int, block: int, panel: PanelControls, starts: Timeline, period_ms: int, length_ms: int
) -> DrawnBlock:
    """Draw 64 random lanes; each begins with the actions of one lane of ``starts``."""
    size = LANES * (MOST_STEPS + 3)
    widest = max(1, len(panel.controls))
    most_start = int(np.max(starts.steps[:, 4] - starts.steps[:, 3], initial=0))
    steps = np.zeros((size, 5), np.int64)
    actions = np.zeros((size * widest + LANES * most_start, 2), np.int64)
    values = np.zeros((len(actions), 4), np.float64)
    first, last, run_on, start = (np.zeros(LANES, np.int64) for _ in range(4))
    timeline = Timeline(steps, actions, values, first, last, run_on)
    bounds = np.array([*PRESS_MS, *PAUSE_MS, length_ms], np.int64) // period_ms
    _draw(np.uint64(seed), block, panel, starts, bounds, timeline, start)
    return DrawnBlock(timeline, start)


@jitted
def _next(state: NDArray[np.uint64], bound: int) -> int:
    """Return a whole number from 0 to ``bound - 1``."""
    state[0] += uint64(0x9E3779B97F4A7C15)
    z = state[0]
    z = (z ^ (z >> uint64(30))) * uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> uint64(27))) * uint64(0x94D049BB133111EB)
    z ^= z >> uint64(31)
    # The upper half, scaled: 32 bits are plenty for bounds of some thousands.
    return int(((z >> uint64(32)) * uint64(bound)) >> uint64(32))


@jitted
def _turn(timeline: Timeline, number: int, plane: int, on: int) -> int:
    timeline.actions[number, 0] = TURN
    timeline.actions[number, 1] = plane
    timeline.values[number, 0] = on
    return number + 1


@allocating
def _begin(timeline: Timeline, at: int, act: int, starts: Timeline, begun: int) -> tuple[int, int]:
    """Copy the steps of one beginning; return the next free step and action."""
    for row in range(starts.first[begun], starts.last[begun]):
        timeline.steps[at, 0] = AFTER
        timeline.steps[at, 3] = act
        for action in range(starts.steps[row, 3], starts.steps[row, 4]):
            timeline.actions[act] = starts.actions[action]
            timeline.values[act] = starts.values[action]
            act += 1
        timeline.steps[at, 4] = act
        at += 1
    return at, act


@jitted
def _pick(weights: NDArray[np.int64], left: int) -> int:
    """Return the number of the weight in whose share ``left`` (0 to their sum - 1) lies."""
    drawn = 0
    while left >= weights[drawn]:
        left -= weights[drawn]
        drawn += 1
    return drawn


@jitted
def _leave(timeline: Timeline, act: int, panel: PanelControls, drawn: int, switch: int) -> int:
    """Turn off the other positions of a selector switch; return the next free action."""
    for other in range(len(panel.controls)):
        if other != drawn and panel.controls[other, 2] == switch:
            act = _turn(timeline, act, panel.controls[other, 0], 0)
    return act


@allocating
def _draw(
    seed: np.uint64,
    block: int,
    panel: PanelControls,
    starts: Timeline,
    bounds: NDArray[np.int64],
    timeline: Timeline,
    start: NDArray[np.int64],
) -> None:
    """Fill 64 lanes of ``timeline``; ``bounds`` (scans): press from, to, pause from, to, length."""
    press, pause, length = bounds[0:2], bounds[2:4], bounds[4]
    state = np.zeros(1, np.uint64)
    total = panel.weights.sum()
    at, act = 0, 0
    for lane in range(LANES):
        state[0] = seed + uint64(block * LANES + lane) * uint64(0xD1342543DE82EF95)
        timeline.first[lane] = at
        begun = _next(state, starts.first.size)
        start[lane] = begun
        at, act = _begin(timeline, at, act, starts, begun)
        fault_at = _next(state, MOST_STEPS) if panel.faults.size else -1
        time, taken = 0, 0
        while taken < MOST_STEPS and time < length:
            wait = pause[0] + _next(state, pause[1] - pause[0] + 1)
            time += wait
            timeline.steps[at, 0] = AFTER
            timeline.steps[at, 1] = wait
            timeline.steps[at, 3] = act
            if taken == fault_at:
                act = _turn(timeline, act, panel.faults[_next(state, panel.faults.size)], 1)
            else:
                drawn = _pick(panel.weights, _next(state, total))
                plane, stays = panel.controls[drawn, 0], panel.controls[drawn, 1]
                switch, rest = panel.controls[drawn, 2], panel.controls[drawn, 3]
                on = _next(state, 2) if stays else 1 - rest
                if stays and on and switch >= 0:
                    act = _leave(timeline, act, panel, drawn, switch)
                act = _turn(timeline, act, plane, on)
                if not stays:
                    timeline.steps[at, 4] = act
                    at += 1
                    held = press[0] + _next(state, press[1] - press[0] + 1)
                    time += held
                    taken += 1
                    timeline.steps[at, 0] = AFTER
                    timeline.steps[at, 1] = held
                    timeline.steps[at, 3] = act
                    act = _turn(timeline, act, plane, rest)
            timeline.steps[at, 4] = act
            at += 1
            taken += 1
        timeline.last[lane] = at
        timeline.run_on[lane] = max(0, length - time)
