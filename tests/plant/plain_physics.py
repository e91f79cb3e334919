"""The physics of one lane in plain Python: what ``plant.physics`` is held against, to the bit.

An instruction that only one kind of part uses has its plain twin in the tests of that part, under
``PLAIN``; the others stand here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

from hypothesis import strategies as st

from server.plant.physics import ANALOG_TOP, PhysicsOp
from server.scan.instructions import INT_PLANES

NO_ITEM = -inf

# Memory: planes 0-7 for actuators, 8-11 for senses, 12-27 for an INT; quantities 0-7 for vessels
# (two levels, two flows, two drains) and a speed and a position, 8-11 counts, then a line.
PLANES = 28
SLOTS = 5
LINE = 12
ROWS = LINE + 3 * SLOTS + 1
PARAMETERS = 24

on = st.integers(0, 7)
sense = st.integers(8, 11)
size = st.integers(4, 11)
place = st.integers(12, 19)
vessel = st.integers(0, 1)
line = (LINE, SLOTS)


@dataclass(slots=True)
class Lane:
    """One lane's planes, quantities and parameters."""

    bits: list[bool]
    q: list[float]
    p: list[float]

    def items(self, base: int, slots: int) -> list[list[float]]:
        """The items of a line: (front, kind, wanted front), the front-most first."""
        rows = ([self.q[base + block * slots + i] for block in range(3)] for i in range(slots))
        return [item for item in rows if item[0] > NO_ITEM]

    def put(self, base: int, slots: int, items: Sequence[Sequence[float]]) -> None:
        """Let a line have these items."""
        for i in range(slots):
            for block in range(3):
                there = i < len(items)
                self.q[base + block * slots + i] = items[i][block] if there else NO_ITEM


@dataclass(frozen=True, slots=True)
class PlainOp:
    """One instruction on one lane, and operands that fit the memory above."""

    run: Callable[..., None]
    operands: st.SearchStrategy[tuple[int, ...]]


def flow(lane: Lane, flow: int, on: int, rate: int, sign: int) -> None:
    if lane.bits[on]:
        lane.q[flow] += sign * lane.p[rate]


def integrate(lane: Lane, row: int, flow: int, scale: int, low: int, high: int) -> None:
    moved = lane.q[row] + lane.q[flow] * lane.p[scale]
    lane.q[row] = min(max(moved, lane.p[low]), lane.p[high])
    lane.q[flow] = 0.0


def at_least(lane: Lane, plane: int, row: int, rise: int, fall: int) -> None:
    if lane.q[row] >= lane.p[rise]:
        lane.bits[plane] = True
    elif lane.q[row] < lane.p[fall]:
        lane.bits[plane] = False


def between(lane: Lane, plane: int, row: int, low: int, high: int) -> None:
    lane.bits[plane] = lane.p[low] <= lane.q[row] <= lane.p[high]


def analog(lane: Lane, planes: int, row: int, low: int, per_unit: int) -> None:
    value = (lane.q[row] - lane.p[low]) * lane.p[per_unit]
    count = int(min(max(value, 0.0), ANALOG_TOP) + 0.5)
    for i in range(INT_PLANES):
        lane.bits[planes + i] = bool(count >> i & 1)


SHARED = {
    PhysicsOp.FLOW: PlainOp(flow, st.tuples(st.integers(2, 5), on, size, st.sampled_from([1, -1]))),
    PhysicsOp.INTEGRATE: PlainOp(
        integrate, st.builds(lambda f, s: (7, f, s, 22, 21), st.integers(2, 5), size)
    ),
    PhysicsOp.AT_LEAST: PlainOp(at_least, st.tuples(sense, st.integers(0, 7), size, size)),
    PhysicsOp.BETWEEN: PlainOp(between, st.tuples(sense, st.integers(0, 7), size, size)),
    PhysicsOp.ANALOG: PlainOp(
        analog, st.builds(lambda r, s: (12, r, 22, s), st.integers(0, 7), place)
    ),
}
