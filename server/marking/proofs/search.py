"""Exhaustive search: every state that a machine can reach, 64 transitions at a time.

A state is the bits of the machine's state planes, packed into words. From each state the kernel
tries every combination of the choice planes (what the operator and the abstract plant may do in
one scan), one combination a lane. Breadth first, so a trail to a violation is a shortest one.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.scan.assembler import CodeRange, Machine
from server.scan.jit import allocating, inlined
from server.scan.kernel import execute
from server.scan.lanes import ALL, transpose

_PATTERNS = np.array(
    [
        0xAAAAAAAAAAAAAAAA,
        0xCCCCCCCCCCCCCCCC,
        0xF0F0F0F0F0F0F0F0,
        0xFF00FF00FF00FF00,
        0xFFFF0000FFFF0000,
        0xFFFFFFFF00000000,
    ],
    np.uint64,
)
"""Plane of choice i < 6: lane l has bit i of its number l."""

MAX_CHOICES = 20
"""More choice planes than this are refused: 2**20 combinations a state."""


@dataclass(frozen=True, slots=True)
class Trail:
    """A way to a violation: the number of the start, and the choices of each scan.

    Bit i of a scan's number is choice i of the machine.
    """

    start: int
    choices: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SearchResult:
    """What a search found.

    ``complete`` says that every reachable state was tried. ``trails`` has, for each target plane,
    None or a shortest way to it. ``complete`` is False when all targets were found early, too.
    """

    complete: bool
    states: int
    transitions: int
    trails: tuple[Trail | None, ...]


class _Found(NamedTuple):
    states: NDArray[np.uint64]
    parent: NDArray[np.int64]
    choice: NDArray[np.int64]
    slots: NDArray[np.int64]


def search(
    machine: Machine,
    sections: tuple[CodeRange, ...],
    targets: tuple[int, ...],
    *,
    budget: int,
    starts: tuple[dict[int, bool], ...] = ({},),
) -> SearchResult:
    """Explore up to ``budget`` states; look for the first scan in which each target is TRUE.

    One scan executes the ``sections`` of the machine in order. Each of ``starts`` overrides
    planes of the cold start. Stops early once every target has been found.
    """
    if len(machine.choices) > MAX_CHOICES:
        raise ValueError(
            f"{len(machine.choices)} choices a scan are too many to try; "
            f"at most {MAX_CHOICES} are possible."
        )
    state_planes = np.array(machine.state, np.int64)
    words = -(-len(state_planes) // 64) or 1
    found = _Found(
        np.zeros((budget + 64, words), np.uint64),
        np.full(budget + 64, -1, np.int64),
        np.zeros(budget + 64, np.int64),
        np.full(1 << max(8, (2 * budget).bit_length()), -1, np.int64),
    )
    rows: dict[tuple[int, ...], int] = {}
    for number, start in enumerate(starts):
        row = [0] * words
        for i, plane in enumerate(machine.state):
            on = start.get(plane, bool(machine.initial[plane]))
            row[i // 64] |= int(on) << (i % 64)
        rows.setdefault(tuple(row), number)
    roots = np.array(list(rows), np.uint64).reshape(-1, words)
    hits = np.full((len(targets), 2), -1, np.int64)
    bounds = np.array([(s.first, s.last) for s in sections], np.int64)
    count, transitions, complete = _explore(
        machine.code,
        bounds,
        machine.initial,
        machine.table,
        state_planes,
        np.array(machine.choices, np.int64),
        np.array(targets, np.int64),
        roots,
        found,
        hits,
        budget,
    )
    first = list(rows.values())
    trails = tuple(_trail(found, first, int(s), int(c)) if s >= 0 else None for s, c in hits)
    return SearchResult(bool(complete), int(count), int(transitions), trails)


def _trail(found: _Found, first: list[int], state: int, last: int) -> Trail:
    choices = [last]
    while found.parent[state] >= 0:
        choices.append(int(found.choice[state]))
        state = int(found.parent[state])
    return Trail(first[state], tuple(reversed(choices)))


@inlined
def _insert(found: _Found, key: NDArray[np.uint64], count: int) -> int:
    """Return the number of the state ``key``; a new one is stored and gets ``count``."""
    h = uint64(0x9E3779B97F4A7C15)
    for w in range(key.size):
        h = (h ^ key[w]) * uint64(0xD6E8FEB86659FD93)
        h ^= h >> uint64(32)
    mask = uint64(found.slots.size - 1)
    slot = h & mask
    while found.slots[slot] >= 0:
        number: int = found.slots[slot]
        same = True
        for w in range(key.size):
            if found.states[number, w] != key[w]:
                same = False
                break
        if same:
            return number
        slot = (slot + uint64(1)) & mask
    found.slots[slot] = count
    for w in range(key.size):
        found.states[count, w] = key[w]
    return count


@inlined
def _load(
    found: _Found,
    head: int,
    group: int,
    shared: int,
    lanes: NDArray[np.uint64],
    state_planes: NDArray[np.int64],
    bits: NDArray[np.uint64],
) -> None:
    """Put ``group`` states from ``head`` on into the planes, each into ``2**shared`` lanes."""
    if group == 1 and shared == 6:
        for i in range(state_planes.size):
            on = (found.states[head, i >> 6] >> uint64(i & 63)) & uint64(1)
            bits[state_planes[i]] = ALL if on else uint64(0)
        return
    for w in range(lanes.shape[0]):
        for lane in range(64):
            source = lane >> shared
            lanes[w, lane] = found.states[head + source, w] if source < group else uint64(0)
        transpose(lanes[w])
    for i in range(state_planes.size):
        bits[state_planes[i]] = lanes[i >> 6, i & 63]


@inlined
def _differing(
    bits: NDArray[np.uint64], state_planes: NDArray[np.int64], violating: np.uint64, shared: int
) -> np.uint64:
    """Return the lanes that are not as one before them, which differs by one choice fewer.

    A state that an earlier lane has reached too needs no look whether it is known: many choices do
    not matter in a scan.
    """
    differing = ALL
    for k in range(shared):
        step = uint64(1 << k)
        unequal = ~_PATTERNS[k] | (violating ^ (violating << step))
        for i in range(state_planes.size):
            plane = bits[state_planes[i]]
            unequal |= plane ^ (plane << step)
        differing &= unequal
    return differing


@inlined
def _unload(
    bits: NDArray[np.uint64], state_planes: NDArray[np.int64], lanes: NDArray[np.uint64]
) -> None:
    """Take the planes of the state apart: ``lanes[w, lane]`` is word w of a lane's state."""
    for i in range(state_planes.size):
        lanes[i >> 6, i & 63] = bits[state_planes[i]]
    for i in range(state_planes.size, 64 * lanes.shape[0]):
        lanes[i >> 6, i & 63] = uint64(0)
    for w in range(lanes.shape[0]):
        transpose(lanes[w])


@inlined
def _reach(
    found: _Found,
    lanes: NDArray[np.uint64],
    lane: int,
    key: NDArray[np.uint64],
    count: int,
    parent: int,
    choice: int,
) -> int:
    """Store a lane's state, if it is new, with the way to it; return how many there are now."""
    for w in range(key.size):
        key[w] = lanes[w, lane]
    if _insert(found, key, count) == count:
        found.parent[count] = parent
        found.choice[count] = choice
        count += 1
    return count


@inlined
def _first_lane(plane: np.uint64) -> int:
    """Return the first lane in which a plane is on; it is on in some lane."""
    lane = 0
    while not (plane >> uint64(lane)) & uint64(1):
        lane += 1
    return lane


@inlined
def _note_hit(
    hits: NDArray[np.int64], target: int, bad: np.uint64, head: int, shared: int, sweep: int
) -> None:
    """Note the state and the choice in which a target is TRUE for the first time."""
    lane = _first_lane(bad)
    hits[target, 0] = head + (lane >> shared)
    hits[target, 1] = (lane & ((1 << shared) - 1)) | (sweep << shared)


@allocating
def _explore(
    code: NDArray[np.uint32],
    bounds: NDArray[np.int64],
    initial: NDArray[np.uint64],
    table: NDArray[np.int32],
    state_planes: NDArray[np.int64],
    choices: NDArray[np.int64],
    targets: NDArray[np.int64],
    roots: NDArray[np.uint64],
    found: _Found,
    hits: NDArray[np.int64],
    budget: int,
) -> tuple[int, int, bool]:
    """Search from ``roots``; fill ``found`` and ``hits``; return states, transitions, complete."""
    words = found.states.shape[1]
    bits = initial.copy()
    lanes = np.zeros((words, 64), np.uint64)
    key = np.zeros(words, np.uint64)
    count = 0
    for root in range(roots.shape[0]):
        if _insert(found, roots[root], count) == count:
            count += 1
    shared = min(choices.size, 6)
    together = 64 >> shared
    passes = 1 << (choices.size - shared)
    for i in range(shared):
        bits[choices[i]] = _PATTERNS[i]
    transitions = 0
    missing = targets.size
    head = 0
    while head < count <= budget:
        group = min(together, count - head)
        valid = ALL if group == together else (uint64(1) << uint64(group << shared)) - uint64(1)
        for sweep in range(passes):
            _load(found, head, group, shared, lanes, state_planes, bits)
            for i in range(shared, choices.size):
                bits[choices[i]] = ALL if (sweep >> (i - shared)) & 1 else uint64(0)
            for b in range(bounds.shape[0]):
                execute(code, bounds[b, 0], bounds[b, 1], bits, initial, table)
            violating = uint64(0)
            for t in range(targets.size):
                bad = bits[targets[t]] & valid
                violating |= bad
                if bad != uint64(0) and hits[t, 0] < 0:
                    _note_hit(hits, t, bad, head, shared, sweep)
                    missing -= 1
            transitions += group << shared
            differing = _differing(bits, state_planes, violating, shared) & ~violating
            _unload(bits, state_planes, lanes)
            for lane in range(group << shared):
                if not (differing >> uint64(lane)) & uint64(1):
                    continue
                choice = (lane & ((1 << shared) - 1)) | (sweep << shared)
                count = _reach(found, lanes, lane, key, count, head + (lane >> shared), choice)
            if count > budget or (targets.size > 0 and missing == 0):
                return count, transitions, False
        head += group
    return count, transitions, head >= count
