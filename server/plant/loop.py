"""The loop: timelines, scan, plant, monitors, record. One call runs 64 lanes for many scans.

Order within a scan: actions that are due, input stage, program, output stage, the plant's advance
and its senses, monitors, record. Before the first scan the senses are taken once, after the
starting state has been set.
"""

from typing import NamedTuple

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.plant.physics import advance, insert_item, remove_items
from server.scan.assembler import Machine
from server.scan.jit import jitted
from server.scan.kernel import execute

AFTER, WHEN, WHEN_OR_AFTER = 0, 1, 2
"""Kinds of waiting: for a number of scans; for a plane to become TRUE, else the lane ends; for a
plane to become TRUE, but no longer than so many scans."""

TURN, ADJUST, PLACE, CLEAR = 0, 1, 2, 3
"""Kinds of action: a plane, a quantity, an item put on a belt, items taken off it."""

NEVER = np.int64(1) << 60


class Code(NamedTuple):
    """What runs: bit instructions, physics and the section bounds.

    ``bounds`` int64[8]: first and last of the scan, the monitors, the plant's advance, its senses.
    """

    code: NDArray[np.uint32]
    physics: NDArray[np.int32]
    table: NDArray[np.int32]
    initial: NDArray[np.uint64]
    bounds: NDArray[np.int64]


class Memory(NamedTuple):
    """What a run changes, and what may differ between lanes.

    ``bits`` uint64[planes], ``quantities`` and ``parameters`` float64[rows, 64].
    """

    bits: NDArray[np.uint64]
    quantities: NDArray[np.float64]
    parameters: NDArray[np.float64]


class Timeline(NamedTuple):
    """What is done to each lane.

    ``steps`` int64[n, 5]: kind of waiting, scans or plane, patience in scans, first and last
    action. ``actions`` int64[m, 2]: kind, target. ``values`` float64[m, 4]: the new value; for
    items position and kind, or the stretch to clear, then the line's slots and its pitch.
    ``first`` and ``last`` int64[64]: each lane's steps. ``run_on`` int64[64]: scans after the last
    step.
    """

    steps: NDArray[np.int64]
    actions: NDArray[np.int64]
    values: NDArray[np.float64]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    run_on: NDArray[np.int64]


class LaneProgress(NamedTuple):
    """Where each lane stands, int64[64]: its step, since when, when to look again, when it ends.

    ``clock`` int64[2]: the next scan's number, and the next scan at which any lane is due.
    """

    step: NDArray[np.int64]
    since: NDArray[np.int64]
    due: NDArray[np.int64]
    end: NDArray[np.int64]
    clock: NDArray[np.int64]


class Watch(NamedTuple):
    """``planes`` int64[w], and the scan in which each lane first saw it TRUE, int64[w, 64]."""

    planes: NDArray[np.int64]
    first_seen: NDArray[np.int64]
    seen: NDArray[np.uint64]


class Record(NamedTuple):
    """Traces: ``bits`` uint64[scans, planes] and ``values`` float64[scans, rows] of one lane."""

    planes: NDArray[np.int64]
    bits: NDArray[np.uint64]
    rows: NDArray[np.int64]
    values: NDArray[np.float64]
    lane: int


@jitted
def act(memory: Memory, timeline: Timeline, number: int, lane: int) -> None:
    """Take one action of a timeline in one lane."""
    kind = timeline.actions[number, 0]
    target = timeline.actions[number, 1]
    given = timeline.values
    if kind == TURN:
        one = uint64(1) << uint64(lane)
        if given[number, 0] != 0.0:
            memory.bits[target] |= one
        else:
            memory.bits[target] &= ~one
    elif kind == ADJUST:
        memory.quantities[target, lane] = given[number, 0]
    elif kind == PLACE:
        slots, pitch = int(given[number, 2]), given[number, 3]
        position, item = given[number, 0], int(given[number, 1])
        insert_item(memory.quantities, target, slots, pitch, lane, position, item)
    else:
        slots, begin, end = int(given[number, 2]), given[number, 0], given[number, 1]
        remove_items(memory.quantities, target, slots, lane, begin, end)


@jitted
def _follow(memory: Memory, timeline: Timeline, progress: LaneProgress, running: int) -> None:
    """Take every step that is due, and end the lanes whose time has come."""
    now = progress.clock[0]
    next_due = NEVER
    for lane in range(64):
        if progress.due[lane] > now:
            next_due = min(next_due, progress.due[lane])
            continue
        due = NEVER
        while progress.step[lane] < timeline.last[lane]:
            at = progress.step[lane]
            if timeline.steps[at, 0] == AFTER:
                if now < progress.since[lane] + timeline.steps[at, 1]:
                    due = progress.since[lane] + timeline.steps[at, 1]
                    break
            elif not (memory.bits[timeline.steps[at, 1]] >> uint64(lane)) & uint64(1):
                over = now - progress.since[lane] >= timeline.steps[at, 2]
                if over and timeline.steps[at, 0] == WHEN:
                    progress.step[lane] = timeline.last[lane]
                    progress.end[lane] = now
                if not over or timeline.steps[at, 0] == WHEN:
                    due = now + 1
                    break
            for action in range(timeline.steps[at, 3], timeline.steps[at, 4]):
                act(memory, timeline, action, lane)
            progress.step[lane] += 1
            progress.since[lane] = now
        if progress.step[lane] == timeline.last[lane]:
            if progress.end[lane] == NEVER:
                progress.end[lane] = progress.since[lane] + timeline.run_on[lane]
            due = progress.end[lane]
            if due <= now:
                memory.bits[running] &= ~(uint64(1) << uint64(lane))
                due = NEVER
        progress.due[lane] = due
        next_due = min(next_due, due)
    progress.clock[1] = next_due


@jitted
def run(
    code: Code,
    memory: Memory,
    timeline: Timeline,
    progress: LaneProgress,
    watch: Watch,
    record: Record,
    running: int,
    scans: int,
) -> int:
    """Run up to ``scans`` scans, fewer when every lane has ended; returns how many were run.

    ``running`` is the plane of lanes that have not ended; monitors judge only in those. Arrays of
    ``memory``, ``progress``, ``watch`` and ``record`` are modified in place, so that a further
    call goes on where this one stopped.
    """
    bounds = code.bounds
    bits = memory.bits
    clock = progress.clock
    for done in range(scans):
        if clock[0] >= clock[1]:
            _follow(memory, timeline, progress, running)
            if bits[running] == uint64(0):
                return done
        if clock[0] == 0:
            advance(code.physics, bounds[6], bounds[7], bits, memory.quantities, memory.parameters)
        execute(code.code, bounds[0], bounds[1], bits, code.initial, code.table)
        advance(code.physics, bounds[4], bounds[7], bits, memory.quantities, memory.parameters)
        execute(code.code, bounds[2], bounds[3], bits, code.initial, code.table)
        for w in range(watch.planes.size):
            fresh = bits[watch.planes[w]] & ~watch.seen[w]
            if fresh != uint64(0):
                watch.seen[w] |= fresh
                for lane in range(64):
                    if (fresh >> uint64(lane)) & uint64(1):
                        watch.first_seen[w, lane] = clock[0]
        for r in range(record.planes.size):
            record.bits[done, r] = bits[record.planes[r]]
        for r in range(record.rows.size):
            record.values[done, r] = memory.quantities[record.rows[r], record.lane]
        clock[0] += 1
    return scans


def code_of(machine: Machine) -> Code:
    """Return the arrays of a machine in the shape that ``run`` takes.

    The machine's sections ``scan`` with, next to it, ``plant``, and ``monitors``, and its physics
    sections ``advance`` and, next to it, ``sense`` are run.
    """
    scan, plant, monitors = (machine.sections[name] for name in ("scan", "plant", "monitors"))
    moved, sensed = machine.physics_sections["advance"], machine.physics_sections["sense"]
    assert scan.last == plant.first, "the plant's bits follow the scan"
    assert moved.last == sensed.first, "the senses follow the advance"
    bounds = [
        *(scan.first, plant.last, monitors.first, monitors.last),
        *(moved.first, moved.last, sensed.first, sensed.last),
    ]
    return Code(
        machine.code, machine.physics, machine.table, machine.initial, np.array(bounds, np.int64)
    )


def fresh_memory(machine: Machine) -> Memory:
    """Memory at a cold start."""
    return Memory(machine.initial.copy(), machine.quantities.copy(), machine.parameters.copy())


def fresh_progress(timeline: Timeline) -> LaneProgress:
    """Return all lanes at their first step, at scan 0."""
    since, due = np.zeros(64, np.int64), np.zeros(64, np.int64)
    end = np.full(64, NEVER)
    return LaneProgress(timeline.first.copy(), since, due, end, np.zeros(2, np.int64))


def watch_planes(planes: list[int]) -> Watch:
    """Watch for the first time that each plane is TRUE; ``NEVER`` where it was not."""
    seen = np.zeros(len(planes), np.uint64)
    first_seen = np.full((len(planes), 64), NEVER, np.int64)
    return Watch(np.array(planes, np.int64), first_seen, seen)


def record_signals(planes: list[int], rows: list[int], lane: int, scans: int) -> Record:
    """Room for a record of ``scans`` scans."""
    return Record(
        np.array(planes, np.int64),
        np.zeros((scans, len(planes)), np.uint64),
        np.array(rows, np.int64),
        np.zeros((scans, len(rows)), np.float64),
        lane,
    )


NO_RECORD = record_signals([], [], 0, 0)
