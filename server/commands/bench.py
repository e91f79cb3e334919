"""Measure the kernel and the acceptance run, each beside its bar."""

import argparse
import json
import sys
from dataclasses import asdict
from statistics import median
from typing import Any

from server.bench.acceptance import acceptance_ms
from server.bench.compiled_c import FLAGS, NoCompiler
from server.bench.kernel_vs_c import KernelVersusC, TracesDiffer, kernel_vs_c
from server.bench.workload import tank_programs
from server.marking.exercise_file import list_exercises
from server.paths import EXERCISES

RATIO_BAR = 5
"""How many times faster than straight-line C the kernel must be."""

ACCEPTANCE_BAR_MS = 10
"""How long an acceptance run may take."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print each figure, its spread and its bar; 1 when kernel and C do not agree."""
    no_ratio = ""
    measured: list[KernelVersusC] = []
    try:
        measured = kernel_vs_c(tank_programs())
    except NoCompiler as fault:
        no_ratio = str(fault)
    except TracesDiffer as fault:
        print(fault, file=sys.stderr)
        return 1
    marked = {folder.name: acceptance_ms(folder) for folder in list_exercises(EXERCISES)}
    ratio = median(m.ratio.median for m in measured) if measured else None
    slowest = max(spread.median for spread in marked.values())
    if arguments.json:
        document: dict[str, Any] = {
            "kernel_vs_c": ratio,
            "acceptance_ms": slowest,
            "detail": {
                "kernel_vs_c": no_ratio or [asdict(m) for m in measured],
                "acceptance_ms": {slug: asdict(spread) for slug, spread in marked.items()},
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
    return 0
