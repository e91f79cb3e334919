"""What a page shows of a trial run: values in a fixed order, chart lanes, marks of open checks.

Only checks that an open scenario judges are shown: nothing of a hidden scenario enters a page.
"""

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.ladder.points import Direction
from server.ladder.program import Path, Program
from server.marking.check import Monitor
from server.marking.exercise import Exercise, Requirement
from server.marking.machine import Assembled
from server.marking.trial.live import Live
from server.plant.loop import Memory
from server.scan.assembler import Bit, Elapsed, Quantity, Signal, Word
from server.scan.instructions import FALSE, INT_PLANES
from server.scan.reading import planes_of, value_of

RESOLUTION = 4
"""Decimals of quantities: a tenth of a millimetre."""

_ITEM = re.compile(r".*\.(item|mark)[0-9]+")


@dataclass(frozen=True, slots=True)
class ShownCheck:
    """A check whose marks a student sees, with its monitor."""

    requirement: str
    monitor: Monitor


class View:
    """The values of one version's machine.

    ``keys`` names them in order, the first ``bools`` of them BOOLs: signals of plant and panel by
    name (``sump.level``), those of the program as ``v:delay.et``, power behind an element as
    ``p:2:1.0.0`` (rung, path; the rung's result as ``p:2:``), and for each shown check
    ``c:0:violated`` and ``c:0:exercised``.
    """

    def __init__(self, exercise: Exercise, program: Program, assembled: Assembled) -> None:
        self.checks = shown_checks(exercise, assembled)
        signals = dict(_surroundings(exercise, assembled))
        signals |= {f"v:{n}": s for n, s in assembled.program.symbols.items()}
        signals |= {_power_key(spot): Bit(p) for spot, p in assembled.program.power.items()}
        for number, check in enumerate(self.checks):
            signals[f"c:{number}:violated"] = Bit(check.monitor.violated)
            signals[f"c:{number}:exercised"] = Bit(check.monitor.exercised)
        signals["v:fault"] = Bit(assembled.program.fault)
        bits = {n: s.plane for n, s in signals.items() if isinstance(s, Bit)}
        words = {n: s.base for n, s in signals.items() if isinstance(s, Word)}
        times = {n: s for n, s in signals.items() if isinstance(s, Elapsed)}
        rows = {n: s for n, s in signals.items() if isinstance(s, Quantity)}
        self.keys = (*bits, *words, *times, *rows)
        self.bools = len(bits)
        self.units = {name: signal.unit for name, signal in rows.items()}
        sensed = {p.symbol.lower() for p in exercise.points if p.direction is Direction.INPUT}
        self._inputs = np.array(
            [i for i, key in enumerate(self.keys) if key.removeprefix("v:") in sensed], np.int64
        )
        self._bits = np.array([*bits.values()], np.int64)
        self._words = np.array([*words.values()], np.int64)[:, None] + np.arange(INT_PLANES)
        self._signed = np.array([signals[n] == Word(base) for n, base in words.items()], np.bool_)
        self._times = [(s, np.array(planes_of(s), np.int64)) for s in times.values()]
        self._rows = np.array([s.row for s in rows.values()], np.int64)

    def first_values(self, live: Live) -> NDArray[np.float64]:
        """Return the values before the first scan, with the inputs as they are about to be read."""
        values = self.values(live.memory)
        values[self._inputs] = self.values(live.one_scan_ahead())[self._inputs]
        return values

    def values(self, memory: Memory) -> NDArray[np.float64]:
        """Return all values now; an item that is not there stands at minus infinity."""
        lane = (memory.bits & np.uint64(1)).astype(np.bool_)
        words = value_of(Word(0, signed=False), lane[self._words])
        return np.concatenate(
            [
                lane[self._bits],
                np.where(self._signed, words.astype(np.int16), words),
                np.array([value_of(s, lane[planes]) for s, planes in self._times], np.float64),
                memory.quantities[self._rows, 0].round(RESOLUTION),
            ]
        )


@dataclass(frozen=True, slots=True)
class Lanes:
    """What the timing chart draws exactly: each change of a point, each mark of a shown check.

    ``planes`` are recorded in every scan: the points' first, then three for each check.
    """

    points: tuple[str, ...]
    quantities: tuple[str, ...]
    rows: tuple[int, ...]
    planes: tuple[int, ...]


def lanes_of(
    exercise: Exercise,
    assembled: Assembled,
    checks: Sequence[ShownCheck],
    own: Collection[str] = (),
) -> Lanes:
    """Return the chart's lanes: BOOL points as in the table, then quantities but for items.

    Where no item is marked, nothing is said of marked ones. Of the ``own`` signals of the program,
    by lower-case name, those follow the points that are BOOLs; one that a version lacks stays OFF.
    """
    track = exercise.plant.track
    marked = track is not None and bool(track.mark)
    points = [p.symbol.lower() for p in exercise.points if p.type == "BOOL"]
    quantities = {
        name: signal.row
        for name, signal in assembled.signals.items()
        if isinstance(signal, Quantity) and _ITEM.fullmatch(name) is None
        if marked or not name.endswith("_marked")
    }
    planes = [assembled.plane(name) for name in points]
    symbols = assembled.program.symbols
    for name in own:
        signal = symbols.get(name, Bit(FALSE))
        if isinstance(signal, Bit):
            points.append(name)
            planes.append(signal.plane)
    for check in checks:
        planes += [check.monitor.asked, check.monitor.judged, check.monitor.bad]
    return Lanes(tuple(points), tuple(quantities), tuple(quantities.values()), tuple(planes))


@dataclass(slots=True)
class Marker:
    """Turns recorded planes into changes and marks; it remembers the scan before.

    A change is (scan, lane, value); a mark (scan, check, what) with 'asked' when a response was
    asked for, 'held' when it came, 'violated' in a scan that violates the check.
    """

    lanes: Lanes
    last: NDArray[np.bool_] | None = None
    _open: set[int] = field(default_factory=set)

    def read(
        self, first: int, bits: NDArray[np.bool_]
    ) -> tuple[list[tuple[int, int, int]], list[tuple[int, int, str]]]:
        """Return changes and marks of the scans from ``first`` on, bool[scans, planes]."""
        if not bits.size:
            return [], []
        start = self.last if self.last is not None else ~bits[0] & self._is_point
        before = np.vstack([start, bits[:-1]])
        changes: list[tuple[int, int, int]] = []
        marks: list[tuple[int, int, str]] = []
        points = len(self.lanes.points)
        for scan, plane in np.argwhere(bits != before).tolist():
            value = bool(bits[scan, plane])
            if plane < points:
                changes.append((first + scan, plane, int(value)))
            elif value:
                check, kind = divmod(plane - points, 3)
                if kind == 0:
                    self._open.add(check)
                    marks.append((first + scan, check, "asked"))
                elif kind == 1 and check in self._open:
                    self._open.discard(check)
                    marks.append((first + scan, check, "held"))
                elif kind == 2:
                    self._open.discard(check)
                    marks.append((first + scan, check, "violated"))
        self.last = bits[-1].copy()
        return changes, marks

    @property
    def _is_point(self) -> NDArray[np.bool_]:
        planes: NDArray[np.bool_] = np.arange(len(self.lanes.planes)) < len(self.lanes.points)
        return planes


def shown_checks(exercise: Exercise, assembled: Assembled) -> tuple[ShownCheck, ...]:
    """Return the checks that some open scenario judges and that hold in any run.

    A check that is limited to certain scenarios speaks of their course and is left out.
    """
    return tuple(
        ShownCheck(requirement.id, assembled.monitors[assembled.monitor_numbers[number, index]])
        for number, requirement in enumerate(exercise.requirements)
        if _is_open(exercise, requirement)
        for index, check in enumerate(requirement.checks)
        if not check.scenarios and (number, index) in assembled.monitor_numbers
    )


def _is_open(exercise: Exercise, requirement: Requirement) -> bool:
    return any(
        scenario.open and (not scenario.judges or requirement.id in scenario.judges)
        for scenario in exercise.scenarios
    )


def _surroundings(exercise: Exercise, assembled: Assembled) -> Iterable[tuple[str, Signal]]:
    """Everything but the program and the exercise's own observer, which is not for students."""
    observer = {v.symbol.lower() for v in exercise.observer.variables}
    for name, signal in assembled.signals.items():
        if name.partition(".")[0] not in observer:
            yield name, signal


def _power_key(spot: tuple[int, Path]) -> str:
    rung, path = spot
    return f"p:{rung}:{'.'.join(map(str, path))}"
