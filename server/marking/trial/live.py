"""One machine run step by step in lane 0: take actions, run scans, keep and restore moments."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.marking.machine import Assembled
from server.marking.scenario import Action, Scenario
from server.marking.timeline import timeline_of
from server.plant.loop import (
    NEVER,
    NO_RECORD,
    Memory,
    Record,
    act,
    code_of,
    fresh_memory,
    fresh_progress,
    run,
    watch_planes,
)
from server.scan.lanes import ALL

_NO_WATCH = watch_planes([])


@dataclass(frozen=True, slots=True)
class Moment:
    """Everything that lane 0 holds between two scans, small enough to keep hundreds.

    ``scan`` is the number of the next one; ``bits`` uint8[planes / 8] is packed; ``quantities``
    float64[rows].
    """

    scan: int
    bits: NDArray[np.uint8]
    quantities: NDArray[np.float64]


class Live:
    """A machine with its memory; ``scan`` is the number of the next scan."""

    def __init__(self, assembled: Assembled) -> None:
        self.assembled = assembled
        self.memory = fresh_memory(assembled.machine)
        self.scan = 0
        self._code = code_of(assembled.machine)
        self._idle = timeline_of([Scenario("idle", ())], assembled)
        self._idle.run_on[0] = NEVER

    def act(self, actions: Sequence[Action]) -> None:
        """Take actions before the next scan, as a step of a scenario does."""
        timeline = timeline_of([Scenario("acting", (), start=tuple(actions))], self.assembled)
        for number in range(len(actions)):
            act(self.memory, timeline, number, 0)

    def run(self, scans: int, record: Record = NO_RECORD) -> None:
        """Run scans; the signals of ``record`` are written into its first rows."""
        progress = fresh_progress(self._idle)
        progress.clock[0] = progress.since[0] = self.scan
        code, plane = self._code, self.assembled.running
        run(code, self.memory, self._idle, progress, _NO_WATCH, record, plane, scans)
        self.scan += scans

    def one_scan_ahead(self) -> Memory:
        """Return what would be after one more scan; this machine stays where it is."""
        ahead = Live(self.assembled)
        ahead.restore(self.moment())
        ahead.run(1)
        return ahead.memory

    def moment(self) -> Moment:
        """Return what lane 0 holds now."""
        lane = (self.memory.bits & np.uint64(1)).astype(np.bool_)
        return Moment(self.scan, np.packbits(lane), self.memory.quantities[:, 0].copy())

    def restore(self, moment: Moment) -> None:
        """Go on from a moment of the same machine."""
        lane = np.unpackbits(moment.bits, count=self.memory.bits.size)
        self.memory.bits[:] = np.where(lane, ALL, np.uint64(0))
        self.memory.quantities[:] = moment.quantities[:, None]
        self.scan = moment.scan
