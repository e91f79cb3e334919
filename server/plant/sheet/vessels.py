"""Vessels in a row: flows in above, flows out below, instruments beside.

Parts add themselves in any order; ``finish`` places them and lets each draw itself.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.points import Working

FIRST, PITCH = 130, 430
"""Left wall of the first vessel, and from vessel to vessel."""
WIDTH, HEIGHT = 150, 230
"""Of the highest vessel; others are drawn to scale, down to LOWEST."""
LOWEST = 120
ROW = 78
"""From pipe to pipe."""
RISER = 84
"""How far left of its vessel a pipe goes up."""


@dataclass(slots=True)
class Column:
    """One vessel on the sheet, ``meters`` high, and how many pipes lead in and out so far."""

    meters: float
    left: float
    top: float
    bottom: float
    flows_in: int = 0
    flows_out: int = 0

    def y_of(self, level: float) -> float:
        """Return where a level in m is on the sheet."""
        return self.bottom - (self.bottom - self.top) * level / self.meters


Symbol: TypeAlias = Callable[[Pen, float, float], None]
"""Draws what works a pipe around a place."""

Instrument: TypeAlias = Callable[[Pen, float, float, float, float], None]
"""Draws an instrument from the wall at (x, y) to its bubble at (x, y)."""

Beside: TypeAlias = Callable[[Pen, Column], None]


@dataclass(frozen=True, slots=True)
class _Pipe:
    source: str | None
    target: str | None
    working: Working
    symbol: Symbol


@dataclass(slots=True)
class VesselArea:
    """The part of a sheet that shows vessels; ``width`` and ``height`` are 0 without one."""

    pen: Pen = field(default_factory=Pen)
    width: float = 0.0
    height: float = 0.0
    _vessels: dict[str, tuple[float, Callable[[Column], None]]] = field(default_factory=dict)
    _pipes: list[_Pipe] = field(default_factory=list)
    _instruments: list[tuple[str, float, Instrument]] = field(default_factory=list)
    _beside: list[tuple[str, Beside]] = field(default_factory=list)
    _columns: dict[str, Column] = field(default_factory=dict)

    def add_vessel(self, name: str, meters: float, draw: Callable[[Column], None]) -> None:
        """Add a vessel, right of those before it."""
        self._vessels[name] = meters, draw

    def add_pipe(
        self, source: str | None, target: str | None, working: Working, symbol: Symbol
    ) -> None:
        """Add a pipe between two vessels, None being outside."""
        self._pipes.append(_Pipe(source, target, working, symbol))

    def add_instrument(self, vessel: str, level: float, draw: Instrument) -> None:
        """Add an instrument right of a vessel, at a level in m or below it where others stand."""
        self._instruments.append((vessel, level, draw))

    def add_beside(self, vessel: str, draw: Beside) -> None:
        """Add something that knows its own place beside or in a vessel."""
        self._beside.append((vessel, draw))

    def finish(self) -> None:
        """Place and draw everything."""
        if not self._vessels:
            return
        self._place()
        for name, (_, draw) in self._vessels.items():
            draw(self._columns[name])
        for pipe in self._pipes:
            self._pipe(pipe)
        for name, column in self._columns.items():
            self._draw_instruments(name, column)
        self.width = FIRST + PITCH * len(self._columns) - 110
        rows = max(column.flows_out for column in self._columns.values())
        self.height = max(c.bottom for c in self._columns.values()) + 34 + ROW * rows

    def _place(self) -> None:
        flows_in = Counter(pipe.target for pipe in self._pipes)
        bottom = 24 + ROW * max(flows_in[name] for name in self._vessels) + HEIGHT
        highest = max(meters for meters, _ in self._vessels.values())
        for number, (name, (meters, _)) in enumerate(self._vessels.items()):
            height = max(LOWEST, HEIGHT * meters / highest)
            left = FIRST + PITCH * number
            self._columns[name] = Column(meters, left, bottom - height, bottom)

    def _draw_instruments(self, name: str, column: Column) -> None:
        wall, below = column.left + WIDTH, column.bottom + 60
        mine = [(level, draw) for vessel, level, draw in self._instruments if vessel == name]
        for level, draw in sorted(mine, key=lambda each: each[0]):
            at = column.y_of(level)
            below = min(at, below - 2 * BUBBLE - 8)
            draw(self.pen, wall, at, wall + 48, below)
        for vessel, beside in self._beside:
            if vessel == name:
                beside(self.pen, column)

    # -- pipes --------------------------------------------------------------------------------

    def _pipe(self, pipe: _Pipe) -> None:
        pipe.working.open(self.pen, "flow")
        if pipe.source is None:
            assert pipe.target is not None, "a pipe has two different ends"
            self._flow_in(self._columns[pipe.target], pipe)
        else:
            self._flow_out(self._columns[pipe.source], pipe)
        self.pen.close()

    def _flow_in(self, c: Column, pipe: _Pipe) -> None:
        y, drop = self._next_in(c)
        start = c.left - RISER - 36
        self.pen.line(start, y, drop, y, "pipe")
        self._into(c, drop, y)
        pipe.symbol(self.pen, c.left - 54, y)
        self.pen.arrow(start + 10, y, "right")

    def _flow_out(self, c: Column, pipe: _Pipe) -> None:
        number = c.flows_out
        c.flows_out += 1
        x, y = c.left + WIDTH - 40 - 34 * number, c.bottom + 40 + ROW * number
        end = c.left + WIDTH + 130
        self.pen.path(f"M{x} {c.bottom:g}V{y:g}H{end}", "pipe")
        if pipe.target is None:
            self.pen.arrow(end + 6, y, "right")
        else:
            target = self._columns[pipe.target]
            riser = target.left - RISER
            up, drop = self._next_in(target)
            aside = "" if riser > end else f"v{ROW / 2}"
            self.pen.path(f"M{end} {y:g}{aside}H{riser}V{up:g}H{drop}", "pipe")
            self._into(target, drop, up)
        pipe.symbol(self.pen, c.left + WIDTH + 38, y)

    def _next_in(self, c: Column) -> tuple[float, float]:
        """Return row and drop of the next pipe into a vessel: higher rows drop further right."""
        number = c.flows_in
        c.flows_in += 1
        bottom = max(column.bottom for column in self._columns.values())
        return bottom - HEIGHT - 34 - ROW * number, c.left + 28 + 34 * number

    def _into(self, c: Column, drop: float, y: float) -> None:
        self.pen.line(drop, y, drop, c.top + 6, "pipe")
        self.pen.arrow(drop, c.top + 10, "down")
