"""A stop: a gate that holds the items before it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated

from pydantic import Field

from server.plant.checks import require_name
from server.plant.fields import Length, Line, OnOff, Symbol
from server.plant.part import Part
from server.plant.part_hooks import Drive
from server.plant.parts_view import Parts, require_on_track
from server.plant.physics import PhysicsOp
from server.plant.sheet.line import LineArea
from server.plant.sheet.pen import BUBBLE
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site


@dataclass(frozen=True, slots=True)
class Stop(Part):
    """A gate ``at`` m that holds items before it while ``by`` is ``holds_when``.

    ``by`` is the symbol of an output point, or the tag of a position switch.
    """

    noun = "stop"

    name: Line
    tag: Line
    at: Length
    by: Symbol
    holds_when: Annotated[OnOff, Field(alias="holds when")] = True
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)

    def check(self, parts: Parts) -> None:
        require_on_track(parts, self.tag, self.at)

    def drives(self) -> tuple[Drive, ...]:
        return (Drive(self.by, by_sensor=True),)

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        state = "on" if self.holds_when else "off"
        return f"Stop {self.tag} at {self.at:g} m holds while {self.by} is {state}."

    def draw(self, sheet: PlantSheet) -> None:
        sheet.line.add_below(self.at, partial(self._draw, sheet, sheet.line))

    def _draw(self, sheet: PlantSheet, area: LineArea, x: float, y: float) -> None:
        pen = area.pen
        on, when = not self.holds_when, int(self.holds_when)
        pen.open("stop", sheet.points.signal_of(self.by), on, when=when)
        pen.line(x, y - BUBBLE, x, area.bottom + 12)
        pen.path(f"M{x:g} {area.bottom + 12:g}V{area.top - 4:g}", "across")
        pen.path(f"M{x:g} {area.bottom + 12:g}v-8", "aside")
        pen.close()
        pen.bubble(x, y, self.tag)
        area.write(x + BUBBLE + 6, y, self.by, f"{self.at:g} m")

    def drive(self, site: Site) -> None:
        plane = site.actuating_plane(self.by)
        closed = plane if self.holds_when else site.asm.not_(plane)
        at = site.asm.parameter(f"{self.name}.at", self.at)
        site.asm.emit_physics(PhysicsOp.HOLD, *site.item_rows, closed, at)
