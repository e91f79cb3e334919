"""A conveyor line as seen from above: belts from left to right, devices on both sides.

Parts add themselves in any order; ``finish`` places them and lets each draw itself.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from server.plant.sheet.pen import Pen
from server.plant.track import Track

LEFT, LENGTH, RIGHT = 96, 700, 130
"""Before the belts, the belts themselves, behind them."""
HALF, HALF_ITEM = 34, 22
"""Half the width of a belt and of an item."""
ROW, ROOM = 62, 150
"""From row to row of devices, and how much of a row each takes."""

Device: TypeAlias = Callable[[float, float], None]
"""Draws a device whose bubble stands at a place, and how it reaches the belts."""


@dataclass(frozen=True, slots=True)
class _Placed:
    at: float
    draw: Device
    row: int = 0


@dataclass(slots=True)
class LineArea:
    """The part of a sheet that shows a line; ``top`` to ``bottom`` are the belts' edges."""

    track: Track
    pen: Pen = field(default_factory=Pen)
    width: float = LEFT + LENGTH + RIGHT
    height: float = 0.0
    top: float = 0.0
    bottom: float = 0.0
    _on_belts: list[Callable[[], None]] = field(default_factory=list)
    _above: list[_Placed] = field(default_factory=list)
    _below: list[_Placed] = field(default_factory=list)

    @property
    def middle(self) -> float:
        """Halfway between the edges of the belts."""
        return (self.top + self.bottom) / 2

    def x_of(self, at: float) -> float:
        """Return where ``at`` m from the infeed is on the sheet."""
        return LEFT + LENGTH * at / self.track.length

    def add_on_belts(self, draw: Callable[[], None]) -> None:
        """Add something on the belts or at their ends."""
        self._on_belts.append(draw)

    def add_above(self, at: float, draw: Device) -> None:
        """Add a device above the place ``at`` m from the infeed."""
        self._above.append(_Placed(at, draw))

    def add_below(self, at: float, draw: Device) -> None:
        """Add a device below a place."""
        self._below.append(_Placed(at, draw))

    def write(self, x: float, y: float, symbol: str, where: str) -> None:
        """Write what works a device, and where it is."""
        self.pen.text(x, y - 5, symbol, "symbol", "start")
        self.pen.text(x, y + 12, where, "note", "start")

    def finish(self) -> None:
        """Place and draw everything."""
        above = _rows(self._above, self.track.length)
        below = _rows(self._below, self.track.length)
        rows_above = max((d.row for d in above), default=-1) + 1
        rows_below = max((d.row for d in below), default=-1) + 1
        self.top = 20 + ROW * rows_above + 44
        self.bottom = self.top + 2 * HALF
        self.height = self.bottom + 60 + ROW * rows_below
        for draw in self._on_belts:
            draw()
        # The stem of a device in a far row passes behind the bubbles of nearer ones.
        for device in sorted(above, key=lambda d: -d.row):
            device.draw(self.x_of(device.at), self.top - 62 - ROW * device.row)
        for device in sorted(below, key=lambda d: -d.row):
            device.draw(self.x_of(device.at), self.bottom + 56 + ROW * device.row)


def _rows(devices: list[_Placed], meters: float) -> list[_Placed]:
    """Devices in as many rows as they need, none over another; row 0 is next to the belts."""
    room = ROOM * meters / LENGTH
    ends: list[float] = []
    placed = []
    for device in sorted(devices, key=lambda d: d.at):
        row = next((n for n, end in enumerate(ends) if end <= device.at), len(ends))
        ends[row : row + 1] = [device.at + room]
        placed.append(replace(device, row=row))
    return placed
