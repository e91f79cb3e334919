"""Where everything of a rung stands: elements at their places, wires with their sources.

Units are SVG units (1 px on screen), y grows downwards. Power flows along ``y``; what an element
needs above and below that line is its ``up`` and ``down``.

A wire's ``sources`` are the elements out of which power can come to it: it is live while any of
them lets power out. ``None`` stands for the left rail, which is always live.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from server.ladder.drawing_symbols import FORK, Size, Symbols
from server.ladder.program import Element, Output, Parallel, Path, Rung, Series

Sources: TypeAlias = tuple[Path | None, ...]

BRANCH_GAP = 10
"""Free space between two branches, and between two outputs."""


@dataclass(frozen=True, slots=True)
class Wire:
    """A straight piece of wire."""

    x1: int
    y1: int
    x2: int
    y2: int
    sources: Sources


@dataclass(frozen=True, slots=True)
class PlacedElement:
    """An element; its cell begins at ``x`` and power flows through it at ``y``."""

    path: Path
    element: Element
    x: int
    y: int
    size: Size


@dataclass(frozen=True, slots=True)
class PlacedOutput:
    """An output; its cell begins at ``x`` and power enters at ``y``."""

    number: int
    output: Output
    x: int
    y: int
    size: Size


@dataclass(slots=True)
class RungLayout:
    """A rung laid out from the left rail at ``left`` to the right rail at ``right``."""

    left: int
    right: int = 0
    top: int = 0
    bottom: int = 0
    elements: list[PlacedElement] = field(default_factory=list)
    outputs: list[PlacedOutput] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)


def lay_out(rung: Rung, symbols: Symbols, left: int, top: int, width: int) -> RungLayout:
    """Lay a rung out. Outputs stand at the right rail, at least ``width`` from the left one."""
    layout = RungLayout(left, top=top)
    placer = _Placer(symbols, layout)
    network = placer.measure(rung.network)
    sizes = [symbols.output_size(output) for output in rung.outputs]
    up = max(network.up, sizes[0].up if sizes else 0)
    y = top + up
    column = max((size.width for size in sizes), default=0)
    fork = FORK if len(sizes) > 1 else 0
    layout.right = left + max(width, network.width + fork + column)
    end, sources = placer.series(rung.network, left, y, (), (None,))
    layout.bottom = y + network.down
    start = layout.right - column
    placer.wire(end, y, start, y, sources)
    for number, (output, size) in enumerate(zip(rung.outputs, sizes, strict=True)):
        if number:
            before = layout.outputs[-1]
            below = before.y + before.size.down + BRANCH_GAP + size.up
            placer.wire(start - fork // 2, before.y, start - fork // 2, below, sources)
            placer.wire(start - fork // 2, below, start, below, sources)
        else:
            below = y
        cell = Size(column, size.up, size.down)
        enters, leaves = symbols.output_terminals(output, cell)
        placer.wire(start, below, start + enters, below, sources)
        placer.wire(start + leaves, below, layout.right, below, sources)
        layout.outputs.append(PlacedOutput(number, output, start, below, cell))
        layout.bottom = max(layout.bottom, below + size.down)
    return layout


class _Placer:
    """Measures and places networks; a series is measured from the same sizes it is placed with."""

    def __init__(self, symbols: Symbols, layout: RungLayout) -> None:
        self._symbols = symbols
        self._layout = layout

    def measure(self, series: Series) -> Size:
        sizes = [
            self._measure_parallel(item)
            if isinstance(item, Parallel)
            else self._symbols.element_size(item)
            for item in series.items
        ]
        return Size(
            sum(size.width for size in sizes),
            max((size.up for size in sizes), default=BRANCH_GAP),
            max((size.down for size in sizes), default=BRANCH_GAP),
        )

    def _measure_parallel(self, parallel: Parallel) -> Size:
        sizes = [self.measure(branch) for branch in parallel.branches]
        *_, last = self._rows(sizes)
        width = max(FORK, *(size.width for size in sizes)) + 2 * FORK
        return Size(width, sizes[0].up, last + sizes[-1].down)

    def _rows(self, sizes: list[Size]) -> Iterator[int]:
        """Yield how far each branch's wire stands below the first one's."""
        row = 0
        for number, size in enumerate(sizes):
            if number:
                row += sizes[number - 1].down + BRANCH_GAP + size.up
            yield row

    def wire(self, x1: int, y1: int, x2: int, y2: int, sources: Sources) -> None:
        if (x1, y1) != (x2, y2):
            self._layout.wires.append(Wire(x1, y1, x2, y2, sources))

    def series(
        self, series: Series, x: int, y: int, prefix: Path, sources: Sources
    ) -> tuple[int, Sources]:
        """Place a series from ``x`` on; returns where it ends and what feeds its end."""
        for index, item in enumerate(series.items):
            path = (*prefix, index)
            if isinstance(item, Parallel):
                x, sources = self._parallel(item, x, y, path, sources)
            else:
                size = self._symbols.element_size(item)
                enters, leaves = self._symbols.terminals(item, size)
                self.wire(x, y, x + enters, y, sources)
                self._layout.elements.append(PlacedElement(path, item, x, y, size))
                sources = (path,)
                self.wire(x + leaves, y, x + size.width, y, sources)
                x += size.width
        return x, sources

    def _parallel(
        self, parallel: Parallel, x: int, y: int, path: Path, sources: Sources
    ) -> tuple[int, Sources]:
        sizes = [self.measure(branch) for branch in parallel.branches]
        rows = [y + row for row in self._rows(sizes)]
        fork = x + FORK // 2
        join = x + self._measure_parallel(parallel).width - FORK // 2
        self.wire(x, y, fork, y, sources)
        self.wire(fork, rows[0], fork, rows[-1], sources)
        joined: Sources = ()
        for number, (branch, row) in enumerate(zip(parallel.branches, rows, strict=True)):
            begin = fork + FORK // 2
            self.wire(fork, row, begin, row, sources)
            end, fed = self.series(branch, begin, row, (*path, number), sources)
            self.wire(end, row, join, row, fed)
            joined += fed
        joined = tuple(dict.fromkeys(joined))
        self.wire(join, rows[0], join, rows[-1], joined)
        self.wire(join, y, join + FORK // 2, y, joined)
        return join + FORK // 2, joined
