"""What an element does, drawn from a run of its example on the kernel that marks programs."""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.ladder.drawing import draw_rung
from server.ladder.element_help import HELP
from server.ladder.elements import EXAMPLE_DECLARATIONS, Course, ElementHelp
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.presentation.lane_drawing import draw_lanes
from server.marking.verdict import Lane
from server.scan.assembler import Assembler, Bit, Signal, Word
from server.scan.compiler import compile_program
from server.scan.instructions import INT_PLANES
from server.scan.kernel import execute
from server.scan.reading import Planar, planar, planes_of, value_of

PERIOD_MS = 50
"""The scan period of every example: one scan can be seen in its picture."""

RUNG_WIDTH = 300


@dataclass(frozen=True, slots=True)
class ElementPicture:
    """The example's rungs and its timing chart as SVG, and the lanes that the chart shows."""

    help: ElementHelp
    rungs: tuple[str, ...]
    chart: str
    lanes: tuple[Lane, ...]


class _Watched(NamedTuple):
    """The values of a symbol after each scan, and whether it is a number."""

    values: NDArray[np.int32]
    number: bool


@lru_cache
def element_picture(key: str) -> ElementPicture:
    """Return the picture of one of HELP. Raises KeyError for any other word."""
    help = HELP[key]
    program = example_program(help)
    rungs = tuple(
        draw_rung(rung, program, index, margin=False, width=RUNG_WIDTH, name=f"example-{key}")
        for index, rung in enumerate(program.rungs)
    )
    courses = inputs_by_scan(help.course)
    values = _run(program, courses, [symbol for _, symbol in help.lanes])
    lanes = tuple(_lane(label, symbol, values[symbol]) for label, symbol in help.lanes)
    chart = draw_lanes(lanes, len(courses) * PERIOD_MS, f"Timing of {help.title}")
    return ElementPicture(help, rungs, chart, lanes)


def example_program(help: ElementHelp) -> Program:
    """Return the example as a program that runs."""
    return parse_program(
        f"PROGRAM example VAR {EXAMPLE_DECLARATIONS} {help.blocks} END_VAR {help.rung} END_PROGRAM"
    )


def inputs_by_scan(course: Course) -> list[dict[str, int]]:
    """Return what each scan reads: the inputs that are not zero, by symbol."""
    return [
        {name: int(value or 1) for name, _, value in (word.partition("=") for word in on.split())}
        for ms, on in course
        for _ in range(ms // PERIOD_MS)
    ]


def _run(
    program: Program, courses: list[dict[str, int]], watched: list[str]
) -> dict[str, _Watched]:
    """Return what the watched symbols were after each scan."""
    asm = Assembler(PERIOD_MS)
    points: dict[str, Signal] = {}
    inputs: dict[str, Planar] = {}
    for variable in program.variables:
        if variable.address is not None and variable.address.startswith("%I"):
            wide = variable.type == "INT"
            planes = [asm.control() for _ in range(INT_PLANES if wide else 1)]
            inputs[variable.symbol] = Word(planes[0]) if wide else Bit(planes[0])
            points[variable.address] = inputs[variable.symbol]
    with asm.section("program"):
        compiled = compile_program(asm, program, points, asm.control(True))
    machine = asm.machine()
    section = machine.sections["program"]
    shown = planar((symbol, compiled.symbols[symbol]) for symbol in watched)
    memory = machine.initial.copy()
    found: dict[str, list[NDArray[np.int32]]] = {symbol: [] for symbol in watched}
    for given in courses:
        for symbol, signal in inputs.items():
            for bit, plane in enumerate(planes_of(signal)):
                memory[plane] = np.uint64(given.get(symbol, 0) >> bit & 1)
        execute(machine.code, section.first, section.last, memory, machine.initial, machine.table)
        for symbol, signal in shown.items():
            bits = memory[list(planes_of(signal))].astype(np.uint64) & np.uint64(1)
            found[symbol].append(value_of(signal, bits.astype(np.bool_)))
    return {
        symbol: _Watched(np.array(values), not isinstance(shown[symbol], Bit))
        for symbol, values in found.items()
    }


def _lane(label: str, symbol: str, watched: _Watched) -> Lane:
    """Return one lane of the chart.

    A number's lane tells its range, and only ET runs in a slope.
    """
    name = label if label == symbol or "." in symbol else f"{label} {symbol}"
    values, number = watched
    slope = symbol.endswith(".et")
    times, shown = [0], [float(values[0])]
    for scan in range(1, len(values)):
        now, before = float(values[scan]), float(values[scan - 1])
        if now == before and not slope:
            continue
        if number and not (slope and now >= before):
            times.append(scan * PERIOD_MS)
            shown.append(before)
        times.append(scan * PERIOD_MS)
        shown.append(now)
    if not number:
        return Lane(name, tuple(times), tuple(shown))
    unit = "ms" if slope else "INT"
    least, most = int(values.min()), int(values.max())
    return Lane(f"{name}, {least} to {most}{' ms' * slope}", tuple(times), tuple(shown), unit)
