"""Straight-line C, compiled here and called with many timelines."""

import ctypes
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from time import thread_time_ns
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.bench.straight_line import StraightLine
from server.marking.scenario import Scenario, Turn

FLAGS = ("-O3", "-march=native")
"""How the C is compiled when it is timed."""

SAME_ROUNDING = "-ffp-contract=off"
"""Added when traces are compared: the kernel never contracts a product and a sum into one."""


class NoCompiler(Exception):
    """There is no C compiler here."""


def find_compiler() -> str:
    """Return the path of a C compiler; raises NoCompiler."""
    found = next(filter(None, map(shutil.which, ("gcc", "cc"))), None)
    if found is None:
        raise NoCompiler("There is no C compiler here. Install gcc to compare with it.")
    return found


class CompiledC:
    """One program and plant, ready to run ``scenarios`` one after the other for ``scans`` scans.

    After ``run``: ``kept`` float64[scenarios, size] and, if it records, ``outputs``
    uint8[scans, outputs] per scenario and ``levels`` float64[scans, levels] per scenario.
    """

    def __init__(
        self,
        written: StraightLine,
        scenarios: Sequence[Scenario],
        period_ms: int,
        scans: int,
        folder: Path,
        *,
        record: bool,
    ) -> None:
        self._library = _compile(written.source, folder, record=record)
        timelines = [_timeline(written, scenario, period_ms) for scenario in scenarios]
        self._steps = np.array([step for steps in timelines for step in steps], np.int32)
        self._first = np.cumsum([0, *map(len, timelines)], dtype=np.int64)
        self._scans = scans
        recorded = scans if record else 0
        lanes = len(scenarios)
        self.kept = np.zeros((lanes, written.size))
        self.outputs = np.zeros((lanes, recorded, len(written.outputs)), np.uint8)
        self.levels = np.zeros((lanes, recorded, len(written.levels)))

    def run(self) -> int:
        """Run all scenarios; returns the nanoseconds of processor time that it took."""
        arguments = (
            *(_address(self._steps), _address(self._first)),
            *(ctypes.c_int64(len(self.kept)), ctypes.c_int64(self._scans)),
            *(_address(self.kept), _address(self.outputs), _address(self.levels)),
        )
        begin = thread_time_ns()
        self._library.run(*arguments)
        return thread_time_ns() - begin


def _compile(source: str, folder: Path, *, record: bool) -> ctypes.CDLL:
    flags = [*FLAGS, *(["-DRECORD", SAME_ROUNDING] if record else [])]
    text = folder / "straight_line.c"
    library = folder / f"straight_line_{'recorded' if record else 'timed'}.so"
    text.write_text(source)
    command = [find_compiler(), *flags, "-shared", "-fPIC", "-o", str(library), str(text), "-lm"]
    subprocess.run(command, check=True, capture_output=True, text=True)
    return ctypes.CDLL(str(library))


def _timeline(
    written: StraightLine, scenario: Scenario, period_ms: int
) -> list[tuple[int, int, int]]:
    """(scan, number of the control, value), in order; only controls are turned, and by time."""
    taken: list[tuple[int, int, int]] = []
    scan = 0
    for step in scenario.steps:
        scan += -(-step.after_ms // period_ms)
        for action in step.actions:
            assert isinstance(action, Turn), "only controls are turned"
            taken.append((scan, written.controls.index(action.control), int(action.on)))
    return taken


def _address(array: NDArray[Any]) -> ctypes.c_void_p:
    return ctypes.c_void_p(array.ctypes.data)
