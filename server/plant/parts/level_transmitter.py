"""A level transmitter: it gives the level of a vessel as a number."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.plant.device_kind import transmitter
from server.plant.fields import Line, VesselName
from server.plant.part import Part, with_symbol
from server.plant.parts_view import Parts
from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.sheet.vessels import Column
from server.plant.site import Site


@dataclass(frozen=True, slots=True)
class LevelTransmitter(Part):
    """An INT from 0 at the bottom to 10000 at the top of the vessel."""

    noun = "level transmitter"
    senses = transmitter(noun, ("LT",), "0 when empty, 10000 when full.")

    tag: Line
    vessel: VesselName

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        device = with_symbol(self.tag, symbols)
        return f"Level transmitter {device} on {parts.label(self.vessel)}."

    def draw(self, sheet: PlantSheet) -> None:
        def beside(pen: Pen, column: Column) -> None:
            x, y = column.left - 40, column.bottom - 30
            pen.line(x, y, column.left, y)
            pen.bubble(x, y, self.tag)
            sheet.points.number(pen, x, y + BUBBLE + 14, self.tag)

        sheet.vessels.add_beside(self.vessel, beside)

    def allocate(self, site: Site) -> None:
        site.add_transmitter(self.tag, f"{self.vessel}.level")

    def sense(self, site: Site) -> None:
        site.transmit(self.tag, f"{self.vessel}.level")
