"""The sheet that the parts of a plant draw themselves on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from server.plant.parts_view import Parts, Switched, track_of
from server.plant.sheet.line import LineArea
from server.plant.sheet.pen import Pen
from server.plant.sheet.points import Points, Working
from server.plant.sheet.vessels import Symbol, VesselArea

EDGE = 12

Strip: TypeAlias = Callable[[Pen, float], None]
"""Draws something as wide as the sheet from y = ``top`` on."""


@dataclass(slots=True)
class PlantSheet:
    """Areas from top to bottom: vessels, the line, strips; each is there if a part uses it.

    ``name`` begins ids. ``items`` are front edges in m and marks of what lies on the line.
    """

    parts: Parts
    points: Points
    name: str
    items: Sequence[tuple[float, bool]] = ()
    vessels: VesselArea = field(default_factory=VesselArea)
    width: float = 0.0
    height: float = 0.0
    _line: LineArea | None = None
    _strips: list[tuple[float, float, Strip]] = field(default_factory=list)

    @property
    def line(self) -> LineArea:
        """The area of the conveyor line."""
        if self._line is None:
            self._line = LineArea(track_of(self.parts))
        return self._line

    def add_strip(self, width: float, height: float, draw: Strip) -> None:
        """Add a strip below all others."""
        self._strips.append((width, height, draw))

    # -- what works a part --------------------------------------------------------------------

    def working(self, part: Switched) -> Working:
        """Return the signal of what turns a part on, and how it is at the start."""
        if part.actuator is None:
            return Working(f"panel.{part.name}", part.on_at_start)
        return Working(f"{part.actuator}.on", False)

    def pump_of(self, part: Switched) -> Symbol:
        """Return what draws a pump with its tag and what works it."""

        def draw(pen: Pen, x: float, y: float) -> None:
            pen.pump(x, y, 1)
            pen.text(x, y - 22, part.tag, "tag")
            pen.text(x, y + 30, part.actuator or part.label, "symbol")

        return draw

    def valve_of(self, part: Switched) -> Symbol:
        """Return what draws a valve with its tag and what works it."""

        def draw(pen: Pen, x: float, y: float) -> None:
            by_hand = part.actuator is None
            pen.valve(x, y, by_hand)
            pen.text(x, y - (22 if by_hand else 34), part.tag, "tag")
            pen.text(x, y + 30, part.actuator or part.label, "symbol")

        return draw

    # -- result -------------------------------------------------------------------------------

    def finish(self, pen: Pen) -> None:
        """Draw all areas into ``pen``; ``width`` and ``height`` are known afterwards."""
        areas: list[VesselArea | LineArea] = [self.vessels]
        areas += [] if self._line is None else [self._line]
        for area in areas:
            area.finish()
            if self.height > 0:
                pen.raw(f'<g transform="translate(0 {self.height:g})">{area.pen.svg()}</g>')
            else:
                pen.raw(area.pen.svg())
            self.width = max(self.width, area.width)
            self.height += area.height
        for width, height, draw in self._strips:
            draw(pen, self.height + EDGE)
            self.width = max(self.width, width)
            self.height += height + EDGE
