"""Measure kernel, acceptance run, search, stress run and full mark, each beside its bar."""

import argparse
import json
import sys
from dataclasses import asdict
from statistics import median
from typing import Any

from server.bench.acceptance import acceptance_ms
from server.bench.compiled_c import FLAGS, NoCompiler
from server.bench.deeper import stress_ms, transitions_per_s
from server.bench.full_mark import mark_right_programs, median_and_slowest
from server.bench.kernel_vs_c import KernelVersusC, TracesDiffer, kernel_vs_c
from server.bench.spread import spread as spread_of
from server.bench.workload import tank_programs
from server.commands.exercises import find_exercise
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import list_exercises
from server.paths import EXERCISES

RATIO_BAR = 5
"""How many times faster than straight-line C the kernel must be."""

ACCEPTANCE_BAR_MS = 10
"""How long an acceptance run may take."""

TRANSITIONS_BAR = 10_000_000
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


def run(arguments: argparse.Namespace) -> int:
    """Print each figure, its spread and its bar; 1 when kernel and C do not agree."""
    try:
        named = [find_exercise(name) for name in arguments.exercises]
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return 2
    folders = named or list_exercises(EXERCISES)
    no_ratio = ""
    measured: list[KernelVersusC] = []
    try:
        measured = kernel_vs_c(tank_programs())
    except NoCompiler as fault:
        no_ratio = str(fault)
    except TracesDiffer as fault:
        print(fault, file=sys.stderr)
        return 1
    marked = {folder.name: acceptance_ms(folder) for folder in folders}
    stressed = {folder.name: stress_ms(folder) for folder in folders}
    states, rate = transitions_per_s()
    took, proved = mark_right_programs(folders)
    typical, longest_mark = median_and_slowest(took)
    ratio = median(m.ratio.median for m in measured) if measured else None
    slowest = max(spread.median for spread in marked.values())
    longest = max(spread.median for spread in stressed.values())
    if arguments.json:
        document: dict[str, Any] = {
            "kernel_vs_c": ratio,
            "acceptance_ms": slowest,
            "transitions_per_s": rate.median,
            "stress_ms": longest,
            "mark_ms": {"median": typical, "slowest": longest_mark},
            "proved_at_mark": proved,
            "detail": {
                "kernel_vs_c": no_ratio or [asdict(m) for m in measured],
                "acceptance_ms": {slug: asdict(spread) for slug, spread in marked.items()},
                "transitions_per_s": {"states": states, **asdict(rate)},
                "stress_ms": {slug: asdict(spread) for slug, spread in stressed.items()},
                "mark_ms": took,
            },
        }
        print(json.dumps(document, indent=2))
        return 0
    print("Processor time; median of several runs (least to most).")
    print(f"kernel_vs_c: 64 scenarios at once against C ({' '.join(FLAGS)}), one by one")
    for m in measured:
        print(f"  {m.program}: {m.ratio} times; {m.kernel_ns} ns against {m.c_ns} ns")
    shown = no_ratio if ratio is None else f"{ratio:.2f} times"
    print(f"  median program: {shown}; the bar is {RATIO_BAR}")
    print("acceptance_ms: a warm acceptance run of a right program")
    for slug, spread in marked.items():
        print(f"  {slug}: {spread} ms")
    print(f"  slowest exercise: {slowest:.2f} ms; the bar is {ACCEPTANCE_BAR_MS}")
    print(f"transitions_per_s: exhaustive search of {states} states")
    million = f"{rate.median / 1e6:.1f} ({rate.least / 1e6:.1f} to {rate.most / 1e6:.1f}) million"
    print(f"  {million} a second; the bar is {TRANSITIONS_BAR // 1_000_000} million")
    print("stress_ms: 2048 random minutes of a right program")
    for slug, spread in stressed.items():
        print(f"  {slug}: {spread} ms")
    print(f"  slowest exercise: {longest:.0f} ms; the bar is {STRESS_BAR_MS}")
    print("mark_ms: a warm full mark of each right program")
    for slug, times in took.items():
        print(f"  {slug}: {spread_of(times)} ms")
    print(f"  median {typical:.0f} ms, slowest {longest_mark:.0f} ms; the bars are {MARK_BAR_MS}")
    print("proved_at_mark: share of their requirements on behavior that a mark proves")
    print(f"  {proved:.3f}; the bar is {PROVED_BAR}")
    return 0
