"""Replaying scenarios on a program: what each monitor saw, and traces of single lanes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.marking.machine import Assembled
from server.marking.scenario import Scenario
from server.marking.timeline import timeline_of
from server.plant.loop import (
    NEVER,
    NO_RECORD,
    LaneProgress,
    Timeline,
    Watch,
    code_of,
    fresh_memory,
    fresh_progress,
    record_signals,
    run,
    watch_planes,
)
from server.scan.assembler import Quantity, Signal
from server.scan.lanes import LANES
from server.scan.reading import planar, planes_of, value_of

LONGEST_MS = 60 * 60 * 1000
"""No scenario runs longer than an hour of plant time."""


@dataclass(frozen=True, slots=True)
class Replay:
    """For each monitor and scenario the scan of the first violation and of the first exercise.

    ``violated`` and ``exercised`` are int64[monitors, scenarios], ``NEVER`` where it did not
    happen; ``fault`` int64[scenarios] is the same for the program's arithmetic fault; ``scans``
    int64[scenarios] is how long each scenario ran.
    """

    violated: NDArray[np.int64]
    exercised: NDArray[np.int64]
    fault: NDArray[np.int64]
    scans: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Trace:
    """One lane's signals in each scan: float64[scans] by name."""

    signals: dict[str, NDArray[np.float64]]
    scans: int


def replay(assembled: Assembled, scenarios: Sequence[Scenario]) -> Replay:
    """Run every scenario, 64 at a time."""
    blocks = [scenarios[i : i + LANES] for i in range(0, len(scenarios), LANES)]
    timelines = [timeline_of(block, assembled) for block in blocks]
    return replay_blocks(assembled, timelines, len(scenarios))


def replay_blocks(assembled: Assembled, timelines: Sequence[Timeline], count: int) -> Replay:
    """Run the timelines of ``count`` scenarios, each of a block of 64 but perhaps the last."""
    blocks = [replay_block(assembled, timeline) for timeline in timelines]
    joined = [np.concatenate(part, axis=-1)[..., :count] for part in zip(*blocks, strict=True)]
    return Replay(*joined)


def replay_block(
    assembled: Assembled, timeline: Timeline, longest_ms: int = LONGEST_MS
) -> tuple[NDArray[np.int64], ...]:
    """Run one block of 64 lanes; the four arrays of ``Replay``."""
    watch = watch_planes([*monitor_planes(assembled), assembled.program.fault])
    progress = _run_block(assembled, timeline, watch, longest_ms)
    n = len(assembled.monitors)
    ended = np.minimum(progress.end, progress.clock[0])
    return watch.first_seen[:n], watch.first_seen[n : 2 * n], watch.first_seen[2 * n], ended


def first_seen(
    assembled: Assembled, scenarios: Sequence[Scenario], planes: list[int]
) -> NDArray[np.int64]:
    """Return int64[planes, scenarios]: the scan in which each was first on, ``NEVER`` if none."""
    seen = [np.zeros((len(planes), 0), np.int64)]
    for i in range(0, len(scenarios), LANES):
        block, watch = scenarios[i : i + LANES], watch_planes(planes)
        _run_block(assembled, timeline_of(block, assembled), watch, LONGEST_MS)
        seen.append(watch.first_seen[:, : len(block)])
    return np.concatenate(seen, axis=1)


def _run_block(
    assembled: Assembled, timeline: Timeline, watch: Watch, longest_ms: int
) -> LaneProgress:
    """Run one block of 64 lanes to its end, or for ``longest_ms``."""
    progress = fresh_progress(timeline)
    run(
        code_of(assembled.machine),
        fresh_memory(assembled.machine),
        timeline,
        progress,
        watch,
        NO_RECORD,
        assembled.running,
        longest_ms // assembled.machine.period_ms,
    )
    return progress


def monitor_planes(assembled: Assembled) -> list[int]:
    """Return the planes 'violated so far' of all monitors, then those 'exercised so far'."""
    monitors = assembled.monitors
    return [m.violated for m in monitors] + [m.exercised for m in monitors]


def step_scans(assembled: Assembled, scenario: Scenario, scans: int) -> list[int]:
    """Return before which scan each step is taken that comes in the first ``scans`` scans.

    The start of the scenario, if it has one, is not among them.
    """
    timeline = timeline_of([scenario], assembled)
    progress, memory = fresh_progress(timeline), fresh_memory(assembled.machine)
    code, watch = code_of(assembled.machine), watch_planes([])
    taken: list[int] = []
    for scan in range(scans):
        if not run(code, memory, timeline, progress, watch, NO_RECORD, assembled.running, 1):
            break
        now = int(progress.step[0] - timeline.first[0]) - bool(scenario.start)
        taken += [scan] * (now - len(taken))
    return taken


def trace(
    assembled: Assembled, scenario: Scenario, signals: dict[str, Signal], scans: int
) -> Trace:
    """Replay one scenario in lane 0 and record ``signals`` by name."""
    held = planar(signals.items())
    planes = [plane for signal in held.values() for plane in planes_of(signal)]
    rows = {n: s.row for n, s in signals.items() if isinstance(s, Quantity)}
    record = record_signals(planes, list(rows.values()), 0, scans)
    timeline = timeline_of([scenario], assembled)
    done = run(
        code_of(assembled.machine),
        fresh_memory(assembled.machine),
        timeline,
        fresh_progress(timeline),
        watch_planes([]),
        record,
        assembled.running,
        scans,
    )
    lane = (record.bits[:done] & np.uint64(1)).astype(np.bool_)
    recorded: dict[str, NDArray[np.float64]] = {}
    at = 0
    for name, signal in held.items():
        width = len(planes_of(signal))
        recorded[name] = value_of(signal, lane[:, at : at + width]).astype(np.float64)
        at += width
    recorded |= {name: record.values[:done, i] for i, name in enumerate(rows)}
    return Trace(recorded, done)


__all__ = [
    "NEVER",
    "Replay",
    "Trace",
    "first_seen",
    "monitor_planes",
    "replay",
    "replay_block",
    "step_scans",
    "trace",
]
