"""A pusher: it takes items off the line into a chute."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

from server.plant.checks import require_name
from server.plant.fields import Length, Line, Symbol
from server.plant.part import Part
from server.plant.part_hooks import Drive
from server.plant.parts_view import Parts, require_on_track, track_of
from server.plant.physics import PhysicsOp
from server.plant.sheet.line import LineArea
from server.plant.sheet.pen import BUBBLE
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site


@dataclass(frozen=True, slots=True)
class Pusher(Part):
    """Takes every item that reaches over the place ``at`` m off the conveyor while ``by`` is on.

    ``by`` is the symbol of an output point, or the tag of a position switch.
    """

    noun = "pusher"

    name: Line
    tag: Line
    at: Length
    by: Symbol
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)

    def check(self, parts: Parts) -> None:
        require_on_track(parts, self.tag, self.at)

    def drives(self) -> tuple[Drive, ...]:
        return (Drive(self.by, by_sensor=True),)

    @property
    def counts(self) -> tuple[str, str]:
        """The signals that count good and marked items."""
        return f"{self.name}.pushed", f"{self.name}.pushed_marked"

    # -- what people see ----------------------------------------------------------------------

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        return f"Pusher {self.tag} ({self.by}) at {self.at:g} m."

    def draw(self, sheet: PlantSheet) -> None:
        sheet.line.add_above(self.at, partial(self._draw, sheet, sheet.line))
        sheet.line.add_below(self.at, partial(self._draw_chute, sheet.line))

    def _draw(self, sheet: PlantSheet, area: LineArea, x: float, y: float) -> None:
        pen, top = area.pen, area.top
        pen.open("pusher", sheet.points.signal_of(self.by))
        pen.line(x, y + BUBBLE, x, top - 40)
        pen.rect(x - 9, top - 40, 18, 26, "ink paper outline")
        pen.path(f"M{x:g} {top - 14:g}v8m-12 0h24", "ink retracted")
        pen.path(f"M{x:g} {top - 14:g}V{area.bottom - 20:g}m-12 0h24", "ink extended")
        pen.close()
        pen.bubble(x, y, self.tag)
        area.write(x + BUBBLE + 6, y, self.by, f"{self.at:g} m")

    def _draw_chute(self, area: LineArea, x: float, y: float) -> None:
        pen, length = area.pen, y - area.bottom - 10
        pen.path(f"M{x - 20:g} {area.bottom:g}v{length:g}m40 0v{-length:g}", "ink")
        pen.arrow(x, y - 8, "down")
        for down, signal, words in zip(
            (-8, 9), self.counts, ("rejected", area.track.mark), strict=True
        ):
            if words:
                pen.value(x + 34, y + down, signal, "0", digits=0)
                pen.text(x + 50, y + down, words, "note", "start")

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        for count in self.counts:
            site.count(count)

    def take(self, site: Site) -> None:
        asm, length = site.asm, track_of(site.parts).item_length
        at = asm.parameter(f"{self.name}.at", self.at)
        reach = asm.parameter(f"{self.name}.item length", length)
        good, marked = map(site.row, self.counts)
        on = site.actuating_plane(self.by)
        asm.emit_physics(PhysicsOp.PUSH, *site.item_rows, on, at, reach, good, marked)

    def permit(self, site: Site) -> None:
        for count in self.counts:
            site.may_rise(count, site.actuating_plane(self.by))
