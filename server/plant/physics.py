"""The plants' concrete step: quantities in 64 lanes, moved on by one scan period at a time.

``quantities`` and ``parameters`` are float64[rows, 64]; everything is in SI units. An instruction
is one row of int32, as in ``scan.instructions``; the comment behind each opcode names its
operands: *rows* of quantities, rows of parameters (``p_``), planes (``on``, ``plane``) and plain
numbers (``slots``, ``kind``, ``target``).

A **line** is a block of quantity rows from ``base`` on that holds the items on a conveyor, the
front-most item first: ``slots`` positions of the front edge, ``slots`` kinds, ``slots`` positions
that the belts want, and one row whose lane 0 says how many slots are used in any lane, so that
empty ones cost nothing. An absent item stands at ABSENT, behind all others; slots are filled
without holes. Ops that move items look at all lanes at once; ops that remove or add one (rare) go
through the lanes concerned one by one.
"""

from enum import IntEnum
from typing import TypeAlias

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.scan.instructions import INT_PLANES
from server.scan.jit import inlined, jitted
from server.scan.lanes import LANES

ABSENT = -np.inf
"""Position of an item that is not there."""

NOWHERE = -1
"""As ``target``: what flows out is lost. As ``kind``: items of every kind."""

ANALOG_TOP = 10_000
"""INT that a transmitter gives at the upper end of its range; 0 at the lower end."""


class PhysicsOp(IntEnum):
    """Instructions of the concrete plant, executed by ``advance``."""

    FLOW = 0  # flow on p_rate sign                flow += sign * rate where on
    PUMP = 1  # source target on p_rate level p_area_per_scan   at most what the vessel holds
    INTEGRATE = 2  # row flow p_scale p_low p_high      row += flow * scale, clipped; flow := 0
    TANK = 3  # level flow drain p_half p_top target    fill and gravity drain; flow, drain := 0
    RAMP = 4  # speed on p_full p_step             toward full where on, else toward 0
    CARRY = 5  # base slots speed p_begin p_end p_dt    what one belt wants of the items on it
    HOLD = 6  # base slots on p_at                 a closed stop: items before it wait there
    SETTLE = 7  # base slots p_pitch               items move, none into the one ahead
    LEAVE = 8  # base slots p_end good marked      the first item leaves the line and is counted
    PUSH = 9  # base slots on p_at p_length good marked   the item at a place leaves the line
    FEED = 10  # base slots on p_feed since fed    a new item at the infeed after an interval
    AT_LEAST = 11  # plane row p_rise p_fall       on from rise upwards, off below fall
    BETWEEN = 12  # plane row p_low p_high         low <= row <= high
    EYE = 13  # plane base slots p_at p_length kind     an item of the kind is before the eye
    ANALOG = 14  # planes row p_low p_per_unit     INT 0 .. ANALOG_TOP, clipped
    LAG = 15  # row target p_share p_scale p_low p_high   row += share * (target * scale - row)
    WARM = 16  # temperature heat cold level p_warm     water that is heated, loses heat, is mixed


FEED_LENGTH, FEED_PITCH, FEED_SCANS, FEED_EVERY = range(4)
"""FEED's consecutive parameter rows: item length, pitch, scans from item to item and, for marked
items (kind 1), every how many one is marked (0: none)."""

FLOW, PUMP, INTEGRATE, TANK, RAMP, CARRY, HOLD, SETTLE = (int(o) for o in list(PhysicsOp)[:8])
LEAVE, PUSH, FEED, AT_LEAST, BETWEEN, EYE, ANALOG, LAG, WARM = (int(o) for o in list(PhysicsOp)[8:])

WARM_LOSS, WARM_SURROUNDINGS, WARM_TOP, WARM_LEAST = range(4)
"""WARM's consecutive parameter rows: losses in a scan for water 1 m high, °C outside, the highest
temperature, and the height of water below which there is no less."""

_Rows: TypeAlias = NDArray[np.float64]
_ZERO = np.uint64(0)


@jitted
def insert_item(
    quantities: _Rows, base: int, slots: int, pitch: float, lane: int, position: float, kind: int
) -> bool:
    """Put an item on the line in one lane with its front edge at ``position``.

    False, and nothing changes, when the line is full or another item is nearer than the pitch.
    """
    place = 0
    while place < slots and quantities[base + place, lane] > position:
        place += 1
    if quantities[base + slots - 1, lane] > ABSENT:
        return False
    if place > 0 and quantities[base + place - 1, lane] - position < pitch:
        return False
    if position - quantities[base + place, lane] < pitch:
        return False
    for slot in range(slots - 1, place, -1):
        for block in range(base, base + 3 * slots, slots):
            quantities[block + slot, lane] = quantities[block + slot - 1, lane]
    quantities[base + place, lane] = position
    quantities[base + slots + place, lane] = kind
    quantities[base + 2 * slots + place, lane] = position
    used = 0
    while used < slots and quantities[base + used, lane] > ABSENT:
        used += 1
    quantities[base + 3 * slots, 0] = max(quantities[base + 3 * slots, 0], used)
    return True


@jitted
def _remove_item(quantities: _Rows, base: int, slots: int, lane: int, place: int) -> None:
    for slot in range(place, slots - 1):
        for block in range(base, base + 3 * slots, slots):
            quantities[block + slot, lane] = quantities[block + slot + 1, lane]
    for block in range(base, base + 3 * slots, slots):
        quantities[block + slots - 1, lane] = ABSENT


@jitted
def remove_items(
    quantities: _Rows, base: int, slots: int, lane: int, begin: float, end: float
) -> int:
    """Take the items whose front edge is in [begin, end) off the line; returns how many."""
    removed = 0
    for slot in range(slots - 1, -1, -1):
        front = quantities[base + slot, lane]
        if front > ABSENT and begin <= front < end:
            _remove_item(quantities, base, slots, lane, slot)
            removed += 1
    return removed


@inlined
def _is_on(word: np.uint64, lane: int) -> bool:
    return bool((word >> uint64(lane)) & uint64(1))


@inlined
def _flow(q: _Rows, p: _Rows, flow: int, on: np.uint64, rate: int, sign: int) -> None:
    for lane in range(LANES):
        q[flow, lane] += sign * p[rate, lane] if _is_on(on, lane) else 0.0


@inlined
def _pump(
    q: _Rows, p: _Rows, source: int, target: int, on: np.uint64, rate: int, level: int, area: int
) -> None:
    """Move at most what the source holds; ``area`` is that of the vessel over the scan period."""
    for lane in range(LANES):
        held = max(q[level, lane] * p[area, lane] + q[source, lane], 0.0)
        moved = min(p[rate, lane], held) if _is_on(on, lane) else 0.0
        q[source, lane] -= moved
        q[target, lane] += moved


@inlined
def _integrate(q: _Rows, p: _Rows, row: int, flow: int, scale: int, low: int, high: int) -> None:
    for lane in range(LANES):
        value = q[row, lane] + q[flow, lane] * p[scale, lane]
        q[row, lane] = min(max(value, p[low, lane]), p[high, lane])
        q[flow, lane] = 0.0


@inlined
def _drained(h: float, fall: float) -> float:
    """Return how far a level falls in a scan in which sqrt(h) falls by ``fall``."""
    root = np.sqrt(h)
    fall = min(fall, root)
    return float(min(fall * (2.0 * root - fall), h))


@inlined
def _tank(
    q: _Rows, p: _Rows, level: int, flow: int, drain: int, half: int, top: int, target: int
) -> None:
    """Strang splitting of ``A dh/dt = flow - drain sqrt(h)``: half the flow, the drain, half.

    Each part is exact: sqrt(h) falls linearly while only the drain is open. ``half`` is dt/(2A),
    ``drain`` the sum of Cd a sqrt(2g) over the open outlets.
    """
    if target >= 0:
        for lane in range(LANES):
            h = max(q[level, lane] + q[flow, lane] * p[half, lane], 0.0)
            drained = _drained(h, q[drain, lane] * p[half, lane])
            q[target, lane] += drained / (2.0 * p[half, lane])
    for lane in range(LANES):
        added = q[flow, lane] * p[half, lane]
        h = max(q[level, lane] + added, 0.0)
        h = h - _drained(h, q[drain, lane] * p[half, lane]) + added
        q[level, lane] = min(max(h, 0.0), p[top, lane])
        q[flow, lane] = 0.0
        q[drain, lane] = 0.0


@inlined
def _ramp(q: _Rows, p: _Rows, speed: int, on: np.uint64, full: int, step: int) -> None:
    for lane in range(LANES):
        change = p[step, lane] if _is_on(on, lane) else -p[step, lane]
        q[speed, lane] = min(max(q[speed, lane] + change, 0.0), p[full, lane])


@inlined
def _used(q: _Rows, base: int, slots: int) -> int:
    return int(q[base + 3 * slots, 0])


@inlined
def _carry(
    q: _Rows, p: _Rows, base: int, slots: int, speed: int, begin: int, end: int, dt: int
) -> None:
    for front in range(base, base + _used(q, base, slots)):
        want = front + 2 * slots
        for lane in range(LANES):
            x = q[front, lane]
            there = (x >= p[begin, lane]) & (x < p[end, lane])
            q[want, lane] += q[speed, lane] * p[dt, lane] if there else 0.0


@inlined
def _hold(q: _Rows, p: _Rows, base: int, slots: int, on: np.uint64, at: int) -> None:
    for front in range(base, base + _used(q, base, slots)):
        want = front + 2 * slots
        for lane in range(LANES):
            stopped = min(q[want, lane], p[at, lane])
            before = _is_on(on, lane) & (q[front, lane] <= p[at, lane])
            q[want, lane] = stopped if before else q[want, lane]


@inlined
def _settle(q: _Rows, p: _Rows, base: int, slots: int, pitch: int) -> None:
    used = _used(q, base, slots)
    for slot in range(used):
        front = base + slot
        want = front + 2 * slots
        for lane in range(LANES):
            free = q[front - 1, lane] - p[pitch, lane] if slot > 0 else np.inf
            q[front, lane] = max(q[front, lane], min(q[want, lane], free))
            q[want, lane] = q[front, lane]
    while used > 0 and not _anything(q, base + used - 1):
        used -= 1
    q[base + 3 * slots, 0] = used


@inlined
def _anything(q: _Rows, front: int) -> bool:
    there = False
    for lane in range(LANES):
        there |= q[front, lane] > ABSENT
    return there


@inlined
def _at_least(q: _Rows, p: _Rows, row: int, level: int) -> np.uint64:
    word = _ZERO
    for lane in range(LANES):
        word |= uint64(q[row, lane] >= p[level, lane]) << uint64(lane)
    return word


@inlined
def _covers(q: _Rows, p: _Rows, front: int, at: int, length: int) -> np.uint64:
    """Lanes whose item reaches over the place ``at``: rear < at <= front."""
    word = _ZERO
    for lane in range(LANES):
        ahead = q[front, lane] - p[at, lane]
        word |= uint64((ahead >= 0.0) & (ahead < p[length, lane])) << uint64(lane)
    return word


@inlined
def _eye(q: _Rows, p: _Rows, base: int, slots: int, at: int, length: int, kind: int) -> np.uint64:
    blocked = _ZERO
    for front in range(base, base + _used(q, base, slots)):
        seen = _covers(q, p, front, at, length)
        if kind >= 0 and seen != _ZERO:
            for lane in range(LANES):
                if q[front + slots, lane] != kind:
                    seen &= ~(uint64(1) << uint64(lane))
        blocked |= seen
    return blocked


@jitted
def _take_away(
    q: _Rows, base: int, slots: int, place: int, lanes: np.uint64, good: int, marked: int
) -> None:
    """Count the item in slot ``place`` and take it off the line, in the lanes given."""
    for lane in range(LANES):
        if _is_on(lanes, lane):
            row = good if q[base + slots + place, lane] == 0.0 else marked
            q[row, lane] += 1.0
            _remove_item(q, base, slots, lane, place)


@jitted
def _push(
    q: _Rows, p: _Rows, base: int, slots: int, on: np.uint64, at: int, length: int, good: int,
    marked: int,
) -> None:  # fmt: skip
    for place in range(_used(q, base, slots)):
        pushed = _covers(q, p, base + place, at, length) & on
        if pushed != _ZERO:
            _take_away(q, base, slots, place, pushed, good, marked)


@inlined
def _near(q: _Rows, p: _Rows, base: int, slots: int, at: int, pitch: int) -> np.uint64:
    """Lanes in which an item is nearer to the place ``at`` than the pitch."""
    near = _ZERO
    for front in range(base, base + _used(q, base, slots)):
        for lane in range(LANES):
            apart = abs(q[front, lane] - p[at, lane])
            near |= uint64(apart < p[pitch, lane]) << uint64(lane)
    return near


@jitted
def _feed(
    q: _Rows, p: _Rows, base: int, slots: int, on: np.uint64, feed: int, since: int, fed: int
) -> None:
    for lane in range(LANES):
        q[since, lane] += 1.0
    due = _at_least(q, p, since, feed + FEED_SCANS) & on
    if due != _ZERO:
        due &= ~_near(q, p, base, slots, feed + FEED_LENGTH, feed + FEED_PITCH)
    if due == _ZERO:
        return
    for lane in range(LANES):
        if _is_on(due, lane):
            every = p[feed + FEED_EVERY, lane]
            kind = 1 if every > 0.0 and (q[fed, lane] + 1.0) % every == 0.0 else 0
            length = p[feed + FEED_LENGTH, lane]
            pitch = p[feed + FEED_PITCH, lane]
            if insert_item(q, base, slots, pitch, lane, length, kind):
                q[fed, lane] += 1.0
                q[since, lane] = 0.0


@jitted
def _analog(
    bits: NDArray[np.uint64], q: _Rows, p: _Rows, planes: int, row: int, low: int, scale: int
) -> None:
    for i in range(INT_PLANES):
        word = _ZERO
        for lane in range(LANES):
            value = (q[row, lane] - p[low, lane]) * p[scale, lane]
            count = np.int64(min(max(value, 0.0), ANALOG_TOP) + 0.5)
            word |= (uint64(count >> i) & uint64(1)) << uint64(lane)
        bits[planes + i] = word


@inlined
def _lag(
    q: _Rows, p: _Rows, row: int, target: int, share: int, scale: int, low: int, high: int
) -> None:
    """First-order lag: in a scan ``row`` goes a share of its way to ``target``, which becomes 0."""
    for lane in range(LANES):
        away = q[target, lane] * p[scale, lane] - q[row, lane]
        moved = q[row, lane] + away * p[share, lane]
        q[row, lane] = min(max(moved, p[low, lane]), p[high, lane])
        q[target, lane] = 0.0


@inlined
def _warm(q: _Rows, p: _Rows, row: int, heat: int, cold: int, level: int, warm: int) -> None:
    """Implicit Euler of the energy balance (``parts.heater``); ``heat`` and ``cold`` become 0.

    Losses and cold water pull toward the surroundings; the step is stable however little water
    there is.
    """
    for lane in range(LANES):
        outside = p[warm + WARM_SURROUNDINGS, lane]
        height = max(q[level, lane], p[warm + WARM_LEAST, lane])
        above = q[row, lane] - outside + q[heat, lane] / height
        above = above / (1.0 + (p[warm + WARM_LOSS, lane] + q[cold, lane]) / height)
        q[row, lane] = min(outside + max(above, 0.0), p[warm + WARM_TOP, lane])
        q[heat, lane] = 0.0
        q[cold, lane] = 0.0


@inlined
def _heat(q: _Rows, p: _Rows, row: NDArray[np.int32]) -> None:
    """Execute an instruction that moves heat."""
    if row[0] == LAG:
        _lag(q, p, row[1], row[2], row[3], row[4], row[5], row[6])
    elif row[0] == WARM:
        _warm(q, p, row[1], row[2], row[3], row[4], row[5])


@inlined
def advance(
    physics: NDArray[np.int32],
    first: int,
    last: int,
    bits: NDArray[np.uint64],
    quantities: _Rows,
    parameters: _Rows,
) -> None:
    """Execute ``physics[first:last]`` once; ``bits`` and ``quantities`` are modified in place.

    Nothing is checked: the rows and planes come from ``scan.assembler``.
    """
    q = quantities
    p = parameters
    for pc in range(first, last):
        op = physics[pc, 0]
        a = physics[pc, 1]
        b = physics[pc, 2]
        c = physics[pc, 3]
        d = physics[pc, 4]
        e = physics[pc, 5]
        f = physics[pc, 6]
        if op == FLOW:
            _flow(q, p, a, bits[b], c, d)
        elif op == AT_LEAST:
            risen = _at_least(q, p, b, c)
            bits[a] = risen if c == d else risen | (bits[a] & _at_least(q, p, b, d))
        elif op == TANK:
            _tank(q, p, a, b, c, d, e, f)
        elif op == INTEGRATE:
            _integrate(q, p, a, b, c, d, e)
        elif op == PUMP:
            _pump(q, p, a, b, bits[c], d, e, f)
        elif op == RAMP:
            _ramp(q, p, a, bits[b], c, d)
        elif op == CARRY:
            _carry(q, p, a, b, c, d, e, f)
        elif op == HOLD:
            if bits[c] != _ZERO:
                _hold(q, p, a, b, bits[c], d)
        elif op == SETTLE:
            _settle(q, p, a, b, c)
        elif op == LEAVE:
            leaving = _at_least(q, p, a, c)
            if leaving != _ZERO:
                _take_away(q, a, b, 0, leaving, d, e)
        elif op == PUSH:
            if bits[c] != _ZERO:
                _push(q, p, a, b, bits[c], d, e, f, physics[pc, 7])
        elif op == FEED:
            _feed(q, p, a, b, bits[c], d, e, f)
        elif op == EYE:
            bits[a] = _eye(q, p, b, c, d, e, f)
        elif op == BETWEEN:
            bits[a] = _at_least(q, p, b, c) & _at_least(p, q, d, b)
        elif op == ANALOG:
            _analog(bits, q, p, a, b, c, d)
        else:
            _heat(q, p, physics[pc])
