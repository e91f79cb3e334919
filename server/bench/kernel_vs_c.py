"""The kernel, 64 scenarios at once, against the same ones one by one in straight-line C."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import thread_time_ns

import numpy as np

from server.bench.compiled_c import CompiledC
from server.bench.spread import Spread, spread
from server.bench.straight_line import StraightLine, straight_line
from server.bench.workload import workload
from server.marking.machine import Assembled, assemble
from server.marking.scenario import Scenario
from server.marking.timeline import timeline_of
from server.plant.loop import (
    NO_RECORD,
    Record,
    code_of,
    fresh_memory,
    fresh_progress,
    record_signals,
    run,
    watch_planes,
)
from server.scan.lanes import LANES

COMPARED_SCANS = 6000
"""How many scans are compared, output by output, before anything is timed."""


class TracesDiffer(Exception):
    """Kernel and C do not agree, so that their times mean nothing."""


@dataclass(frozen=True, slots=True)
class KernelVersusC:
    """Nanoseconds for one scan of one scenario, and C's over the kernel's, run by run."""

    program: str
    kernel_ns: Spread
    c_ns: Spread
    ratio: Spread


def kernel_vs_c(
    programs: Sequence[tuple[Path, Path]], minutes: int = 3, rounds: int = 9
) -> list[KernelVersusC]:
    """Measure each program (folder of its exercise, file): kernel and C in turn, so many rounds.

    Each round runs 64 scenarios of so many minutes. Raises NoCompiler when no C compiler is
    there, and TracesDiffer.
    """
    with tempfile.TemporaryDirectory(prefix="rungmark-bench-") as scratch:
        return [_measure(folder, file, minutes, rounds, Path(scratch)) for folder, file in programs]


def _measure(folder: Path, file: Path, minutes: int, rounds: int, scratch: Path) -> KernelVersusC:
    exercise, program = workload(folder, file, minutes)
    scenarios, period_ms = exercise.scenarios, exercise.period_ms
    scans = minutes * 60_000 // period_ms
    assembled, written = assemble(exercise, program, faults=()), straight_line(exercise, program)
    scratch = scratch / f"{folder.name}-{file.stem}"
    scratch.mkdir()
    compared = min(scans, COMPARED_SCANS)
    checked = CompiledC(written, scenarios, period_ms, compared, scratch, record=True)
    compare(assembled, scenarios, checked, written)
    timed = CompiledC(written, scenarios, period_ms, scans, scratch, record=False)
    kernel_ns: list[float] = []
    c_ns: list[float] = []
    for _ in range(rounds):
        kernel_ns.append(_kernel(assembled, scenarios, scans) / (scans * LANES))
        c_ns.append(timed.run() / (scans * LANES))
    ratios = [c / kernel for c, kernel in zip(c_ns, kernel_ns, strict=True)]
    name = f"{folder.name}/{file.name}"
    return KernelVersusC(name, spread(kernel_ns), spread(c_ns), spread(ratios))


def _kernel(
    assembled: Assembled, scenarios: Sequence[Scenario], scans: int, record: Record = NO_RECORD
) -> int:
    """Run all scenarios; returns the nanoseconds of processor time that it took."""
    memory, timeline = fresh_memory(assembled.machine), timeline_of(scenarios, assembled)
    progress, watch = fresh_progress(timeline), watch_planes([])
    code = code_of(assembled.machine)
    begin = thread_time_ns()
    run(code, memory, timeline, progress, watch, record, assembled.running, scans)
    return thread_time_ns() - begin


def compare(
    assembled: Assembled, scenarios: Sequence[Scenario], checked: CompiledC, written: StraightLine
) -> None:
    """Compare every output and level in every scan, bit for bit. Raises TracesDiffer."""
    checked.run()
    planes = [assembled.plane(name) for name in written.outputs]
    rows = [assembled.row(name) for name in written.levels]
    scans = checked.outputs.shape[1]
    for lane, scenario in enumerate(scenarios):
        record = record_signals(planes, rows, lane, scans)
        _kernel(assembled, scenarios, scans, record)
        outputs = (record.bits >> np.uint64(lane)) & np.uint64(1)
        same = np.array_equal(outputs, checked.outputs[lane])
        if not (same and np.array_equal(record.values, checked.levels[lane])):
            raise TracesDiffer(f"Kernel and C differ in {scenario.name}.")
