"""A photo-eye: it tells whether an item blocks its beam across the line."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from server.plant.device_kind import contact
from server.plant.fields import Flag, Length, Line
from server.plant.part import Part, with_symbol
from server.plant.parts_view import Parts, require_on_track, track_of
from server.plant.physics import NOWHERE, PhysicsOp
from server.plant.sheet.line import LineArea
from server.plant.sheet.pen import BUBBLE
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.plant.track import MARKED
from server.scan.assembler import Bit


@dataclass(frozen=True, slots=True)
class Eye(Part):
    """A photo-eye ``at`` m from the infeed; ``marked_only``: it sees only marked items."""

    noun = "photo-eye"
    senses = contact(noun, ("YS",), "while an item blocks its beam")

    tag: Line
    at: Length
    marked_only: Flag = False

    def check(self, parts: Parts) -> None:
        require_on_track(parts, self.tag, self.at)

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        mark = track_of(parts).mark or "marked item"
        only = f", for each {mark} only" if self.marked_only else ""
        return f"Photo-eye {with_symbol(self.tag, symbols)} at {self.at:g} m{only}."

    def draw(self, sheet: PlantSheet) -> None:
        eyes = sheet.parts.of(Eye)
        beside = sum(other.at == self.at for other in eyes[: eyes.index(self)])
        sheet.line.add_above(self.at, partial(self._draw, sheet, sheet.line, beside))

    def _draw(self, sheet: PlantSheet, area: LineArea, beside: int, x: float, y: float) -> None:
        pen, beam, x = area.pen, x + 7 * beside, x - 30 * beside
        pen.path(f"M{x:g} {y + BUBBLE:g}V{area.top - 30:g}L{beam:g} {area.top - 16:g}", "ink")
        pen.rect(beam - 4, area.top - 16, 8, 10, "ink paper")
        pen.rect(beam - 4, area.bottom + 6, 8, 10, "ink paper")
        pen.line(beam, area.top - 6, beam, area.bottom + 6, "beam")
        pen.bubble(x, y, self.tag)
        only = f", {area.track.mark or 'marked'} only" if self.marked_only else ""
        sheet.points.sensor(pen, x + BUBBLE + 6, y, self.tag, f"{self.at:g} m{only}")

    def allocate(self, site: Site) -> None:
        """In an abstract machine the line knows what its eyes see (``regions``)."""
        if not site.abstract:
            site.senses[self.tag] = Bit(site.asm.bit())

    def sense(self, site: Site) -> None:
        asm, seen = site.asm, site.senses[self.tag]
        assert isinstance(seen, Bit), "a photo-eye is a BOOL"
        length = asm.parameter(f"{self.tag}.seen length", track_of(site.parts).item_length)
        at = asm.parameter(f"{self.tag}.at", self.at)
        kind = MARKED if self.marked_only else NOWHERE
        asm.emit_physics(PhysicsOp.EYE, seen.plane, *site.item_rows, at, length, kind)
