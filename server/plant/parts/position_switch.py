"""A position switch: it tells whether an axis is at its place."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.plant.checks import require
from server.plant.device_kind import contact
from server.plant.fields import AxisName, Line, Percent
from server.plant.part import Part
from server.plant.parts_view import Parts
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Bit


@dataclass(frozen=True, slots=True)
class PositionSwitch(Part):
    """Actuated while the axis is within ``width`` per cent around ``at``."""

    noun = "position switch"
    senses = contact(noun, ("ZS",), "while the moving part is there")

    tag: Line
    axis: AxisName
    at: Percent
    width: Percent = 4.0

    def check(self, parts: Parts) -> None:
        require(
            0 <= self.at <= 100 and self.width > 0,
            f"{self.tag}: it is never actuated. Put it at 0 to 100 % with a width above 0 %.",
        )

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        """Say nothing: its axis does."""
        return ""

    def draw(self, sheet: PlantSheet) -> None:
        """Draw nothing: its axis does."""

    def allocate(self, site: Site) -> None:
        position = site.gauges[f"{self.axis}.position"]
        low, high = self.at - self.width / 2, self.at + self.width / 2
        site.senses[self.tag] = Bit(position.between(low, high))
