"""Measure kernel, acceptance run, search, stress run and mark, each beside its bar."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from server.bench.acceptance import acceptance_ms
from server.bench.compiled_c import FLAGS, NoCompiler
from server.bench.deeper import stress_ms, transitions_per_s
from server.bench.full_mark import mark_right_programs, median_and_slowest
from server.bench.kernel_vs_c import KernelVersusC, TracesDiffer, kernel_vs_c
from server.bench.spread import Spread, spread
from server.bench.workload import tank_programs
from server.commands.exercises import find_exercise
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import list_exercises
from server.paths import EXERCISES

RATIO_BAR = 5
"""How many times faster than straight-line C the kernel must be."""

ACCEPTANCE_BAR_MS = 10
"""How long an acceptance run may take."""

TRANSITIONS_BAR = 60_000_000
"""How many transitions a second the exhaustive search tries."""

STRESS_BAR_MS = 150
"""How long a stress run of two thousand minutes may take."""

MARK_BAR_MS = (100, 1000)
"""How long a full mark of a right program may take: the median one, and the slowest."""

PROVED_BAR = 0.97
"""Share of the right programs' requirements on behavior that a mark proves."""

EXAMPLES = (
    "rungmark bench",
    "rungmark bench --json > figures.json",
    "rungmark bench settling-tank case-lift",
)

EXIT_STATUS = {
    0: "measured",
    1: "kernel and C do not agree",
    2: "there is no such exercise",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "exercises",
        metavar="EXERCISE",
        nargs="*",
        help="slug or folder of an exercise whose marking is measured; all by default",
    )
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")


@dataclass(frozen=True, slots=True)
class Figures:
    """All that is measured; by slug where it is measured for each exercise."""

    kernel: list[KernelVersusC]
    no_kernel: str
    acceptance: dict[str, Spread]
    stress: dict[str, Spread]
    searched: tuple[int, Spread]
    marks: dict[str, list[float]]
    proved: float

    @classmethod
    def measured(cls, folders: Sequence[Path]) -> "Figures":
        """Measure everything. Raises TracesDiffer."""
        kernel, no_kernel = list[KernelVersusC](), ""
        try:
            kernel = kernel_vs_c(tank_programs())
        except NoCompiler as fault:
            no_kernel = str(fault)
        acceptance = {folder.name: acceptance_ms(folder) for folder in folders}
        stress = {folder.name: stress_ms(folder) for folder in folders}
        marks, proved = mark_right_programs(folders)
        return cls(kernel, no_kernel, acceptance, stress, transitions_per_s(), marks, proved)

    @property
    def ratio(self) -> float | None:
        """Times faster than C, for the slowest program; None without a compiler."""
        return min((m.ratio.median for m in self.kernel), default=None)

    def as_json(self) -> dict[str, Any]:
        states, rate = self.searched
        typical, longest = median_and_slowest(self.marks)
        return {
            "kernel_vs_c": self.ratio,
            "acceptance_ms": _slowest(self.acceptance),
            "transitions_per_s": rate.median,
            "stress_ms": _slowest(self.stress),
            "mark_ms": {"median": typical, "slowest": longest},
            "proved_at_mark": self.proved,
            "detail": {
                "kernel_vs_c": self.no_kernel or [asdict(m) for m in self.kernel],
                "acceptance_ms": {slug: asdict(s) for slug, s in self.acceptance.items()},
                "transitions_per_s": {"states": states, **asdict(rate)},
                "stress_ms": {slug: asdict(s) for slug, s in self.stress.items()},
                "mark_ms": self.marks,
            },
        }

    def in_words(self) -> Iterator[str]:
        """Yield the lines to print."""
        yield "Processor time; median of several runs (least to most)."
        yield f"kernel_vs_c: 64 scenarios at once against C ({' '.join(FLAGS)}), one by one"
        for m in self.kernel:
            yield f"  {m.program}: {m.ratio} times; {m.kernel_ns} ns against {m.c_ns} ns"
        shown = self.no_kernel if self.ratio is None else f"{self.ratio:.2f} times"
        yield f"  slowest program: {shown}; the bar is {RATIO_BAR}"
        yield "acceptance_ms: a warm acceptance run of a right program"
        yield from _by_exercise(self.acceptance, ACCEPTANCE_BAR_MS)
        states, rate = self.searched
        yield f"transitions_per_s: exhaustive search of {states} states"
        low, usual, high = (each / 1e6 for each in (rate.least, rate.median, rate.most))
        bar = TRANSITIONS_BAR // 1_000_000
        yield f"  {usual:.1f} ({low:.1f} to {high:.1f}) million a second; the bar is {bar} million"
        yield "stress_ms: 2048 random minutes of a right program"
        yield from _by_exercise(self.stress, STRESS_BAR_MS)
        yield "mark_ms: a warm full mark of each right program"
        for slug, times in self.marks.items():
            yield f"  {slug}: {spread(times)} ms"
        typical, longest = median_and_slowest(self.marks)
        bars = " and ".join(map(str, MARK_BAR_MS))
        yield f"  median {typical:.0f} ms, slowest {longest:.0f} ms; the bars are {bars}"
        yield "proved_at_mark: share of their requirements on behavior that a mark proves"
        yield f"  {self.proved:.3f}; the bar is {PROVED_BAR}"


def _slowest(measured: dict[str, Spread]) -> float:
    return max(each.median for each in measured.values())


def _by_exercise(measured: dict[str, Spread], bar_ms: int) -> Iterator[str]:
    for slug, each in measured.items():
        yield f"  {slug}: {each} ms"
    yield f"  slowest exercise: {_slowest(measured):.1f} ms; the bar is {bar_ms}"


def run(arguments: argparse.Namespace) -> int:
    """Print each figure, its spread and its bar; 1 when kernel and C do not agree."""
    try:
        named = [find_exercise(name) for name in arguments.exercises]
        figures = Figures.measured(named or list_exercises(EXERCISES))
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return 2
    except TracesDiffer as fault:
        print(fault, file=sys.stderr)
        return 1
    if arguments.json:
        print(json.dumps(figures.as_json(), indent=2))
    else:
        print(*figures.in_words(), sep="\n")
    return 0
