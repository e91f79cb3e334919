"""Random timelines for the stress run, drawn in compiled code: 64 lanes of a minute each.

A control is pressed and let go, now and then held while others are worked; some pauses are long;
a fault comes once, and may go again; a hand may set the plant as the exercise's scenarios do.

Everything follows from a seed by SplitMix64 (Steele, Lea, Flood, OOPSLA 2014; constants from
memory), so that a lane is the same in every process and on every machine.
"""

from typing import NamedTuple

import numpy as np
from numba import int64, uint64
from numpy.typing import NDArray

from server.plant.loop import AFTER, TURN, Timeline
from server.scan.jit import allocating, jitted
from server.scan.lanes import LANES

MOST_STEPS = 24
PRESS_MS = (100, 1500)
PAUSE_MS = (200, 6000)

LONG_PAUSE = 8
"""A long pause lasts so many times a drawn one."""

LONG_EVERY, HAND_EVERY, OVERLAP_EVERY, SAME_EVERY = 16, 12, 5, 3
"""One in so many pauses is long, one in so many actions is a hand's in the plant.

One in so many presses lasts while others follow; one in so many of these ends it.
"""

FAULT_LASTS = 8
"""Actions that are taken, at most, until a fault goes again."""


class PanelControls(NamedTuple):
    """What may be done at random.

    ``controls`` int64[n, 4]: plane, 1 for a control that stays as it is set, number of its
    selector switch or -1, value at rest. A control is drawn with weight ``weights`` int64[n].
    ``faults`` int64[m]: planes of which one comes once; in half the lanes it goes again if
    ``fault_goes`` is 1. Each lane of ``hands`` has one step: what a hand does in the plant.
    """

    controls: NDArray[np.int64]
    weights: NDArray[np.int64]
    faults: NDArray[np.int64]
    fault_goes: int
    hands: Timeline


class DrawnBlock(NamedTuple):
    """A block of timelines, and the number of the beginning that each lane drew.

    In a step, the column of patience has the number of the hand's action, counted from 1, or 0.
    """

    timeline: Timeline
    start: NDArray[np.int64]


def draw_block(
    seed: int, block: int, panel: PanelControls, starts: Timeline, period_ms: int, length_ms: int
) -> DrawnBlock:
    """Draw 64 random lanes; each begins with the actions of one lane of ``starts``."""
    size = LANES * (MOST_STEPS + 3)
    widest = max(1, len(panel.controls), _widest(panel.hands))
    most_start = _widest(starts)
    steps = np.zeros((size, 5), np.int64)
    actions = np.zeros((size * widest + LANES * most_start, 2), np.int64)
    values = np.zeros((len(actions), 4), np.float64)
    first, last, run_on, start = (np.zeros(LANES, np.int64) for _ in range(4))
    timeline = Timeline(steps, actions, values, first, last, run_on)
    bounds = np.array([*PRESS_MS, *PAUSE_MS, length_ms], np.int64) // period_ms
    _draw(np.uint64(seed), block, panel, starts, bounds, timeline, start)
    return DrawnBlock(timeline, start)


def _widest(timeline: Timeline) -> int:
    """Return the most actions that one step has."""
    return int(np.max(timeline.steps[:, 4] - timeline.steps[:, 3], initial=0))


@jitted
def _next(state: NDArray[np.uint64], bound: int) -> int:
    """Return a whole number from 0 to ``bound - 1``."""
    state[0] += uint64(0x9E3779B97F4A7C15)
    z = state[0]
    z = (z ^ (z >> uint64(30))) * uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> uint64(27))) * uint64(0x94D049BB133111EB)
    z ^= z >> uint64(31)
    # The upper half, scaled: 32 bits are plenty for bounds of some thousands.
    return int(int64(((z >> uint64(32)) * uint64(bound)) >> uint64(32)))


@jitted
def _turn(timeline: Timeline, number: int, plane: int, on: int) -> int:
    timeline.actions[number, 0] = TURN
    timeline.actions[number, 1] = plane
    timeline.values[number, 0] = on
    return number + 1


@allocating
def _copy(timeline: Timeline, at: int, act: int, steps: Timeline, lane: int) -> tuple[int, int]:
    """Copy the steps of one lane of ``steps``; return the next free step and action."""
    for row in range(steps.first[lane], steps.last[lane]):
        timeline.steps[at, 0] = AFTER
        timeline.steps[at, 3] = act
        for action in range(steps.steps[row, 3], steps.steps[row, 4]):
            timeline.actions[act] = steps.actions[action]
            timeline.values[act] = steps.values[action]
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


@jitted
def _fault(state: NDArray[np.uint64], panel: PanelControls) -> tuple[int, int, int]:
    """Draw a fault's plane, after how many actions it comes, and after how many it goes, or -1."""
    if not panel.faults.size:
        return -1, -1, -1
    begins = _next(state, MOST_STEPS)
    goes = panel.fault_goes and _next(state, 2)
    ends = begins + 1 + _next(state, FAULT_LASTS) if goes else -1
    return int(panel.faults[_next(state, panel.faults.size)]), begins, ends


@jitted
def _wait(state: NDArray[np.uint64], pause: NDArray[np.int64]) -> int:
    """Draw a pause, in scans."""
    wait = pause[0] + _next(state, pause[1] - pause[0] + 1)
    return int(wait * LONG_PAUSE if _next(state, LONG_EVERY) == 0 else wait)


@jitted
def _step(timeline: Timeline, at: int, act: int, plane: int, on: int) -> tuple[int, int]:
    """End a step of one action, for which the wait is set; return the next step and action."""
    timeline.steps[at, 3] = act
    at, act = _and_turn(timeline, at, act, plane, on)
    return at, act


@jitted
def _and_turn(timeline: Timeline, at: int, act: int, plane: int, on: int) -> tuple[int, int]:
    """End a step by one more action; return the next free step and action."""
    act = _turn(timeline, act, plane, on)
    timeline.steps[at, 0] = AFTER
    timeline.steps[at, 4] = act
    return at + 1, act


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
    hands = panel.hands.first.size
    at, act = 0, 0
    for lane in range(LANES):
        state[0] = seed + uint64(block * LANES + lane) * uint64(0xD1342543DE82EF95)
        timeline.first[lane] = at
        begun = _next(state, starts.first.size)
        start[lane] = begun
        at, act = _copy(timeline, at, act, starts, begun)
        fault, due, fault_to = _fault(state, panel)
        comes = 1
        time, taken, held = 0, 0, -1
        while taken < MOST_STEPS and time < length:
            wait = _wait(state, pause)
            time += wait
            timeline.steps[at, 1] = wait
            if 0 <= due <= taken:
                at, act = _step(timeline, at, act, fault, comes)
                due, comes = fault_to if comes else -1, 0
            elif hands and _next(state, HAND_EVERY) == 0:
                hand = _next(state, hands)
                timeline.steps[at, 2] = hand + 1
                at, act = _copy(timeline, at, act, panel.hands, hand)
            elif held >= 0 and _next(state, SAME_EVERY) == 0:
                rest = panel.controls[held, 3]
                at, act = _step(timeline, at, act, panel.controls[held, 0], rest)
                held = -1
            else:
                drawn = _pick(panel.weights, _next(state, total))
                plane, stays = panel.controls[drawn, 0], panel.controls[drawn, 1]
                switch, rest = panel.controls[drawn, 2], panel.controls[drawn, 3]
                on = _next(state, 2) if stays else 1 - rest
                timeline.steps[at, 3] = act
                if stays and on and switch >= 0:
                    act = _leave(timeline, act, panel, drawn, switch)
                at, act = _and_turn(timeline, at, act, plane, on)
                if not stays and drawn != held:
                    if held < 0 and _next(state, OVERLAP_EVERY) == 0:
                        held = drawn
                    else:
                        pressed = press[0] + _next(state, press[1] - press[0] + 1)
                        time += pressed
                        taken += 1
                        timeline.steps[at, 1] = pressed
                        at, act = _step(timeline, at, act, plane, rest)
            taken += 1
        timeline.last[lane] = at
        timeline.run_on[lane] = max(0, length - time)
