"""A temperature switch: it tells whether the water in a heated vessel is hot, with hysteresis."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from server.plant.checks import require
from server.plant.device_kind import contact
from server.plant.fields import Line, Temperature, VesselName
from server.plant.part import Part, with_symbol
from server.plant.parts.heater import BOILING, Heater, temperature_of
from server.plant.parts.vessel import Vessel
from server.plant.parts_view import Parts
from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Bit

HYSTERESIS = 3.0
"""How far the water cools below a temperature switch before it drops out, in K (common practice,
no source)."""

NEAR = 0.5
"""A hand sets a temperature so far beyond a switch, K."""


@dataclass(frozen=True, slots=True)
class TemperatureSwitch(Part):
    """Actuated from ``at`` °C upwards, until the water is ``hysteresis`` K cooler."""

    noun = "temperature switch"
    senses = contact(noun, ("TSH", "TSL"), "while the water is as hot as that")

    tag: Line
    vessel: VesselName
    at: Annotated[
        Temperature, Field(description="The temperature from which it is actuated: 60 °C.")
    ]
    hysteresis: Annotated[
        Temperature, Field(description="How far the water cools before it drops out: 3 °C.")
    ] = HYSTERESIS

    def check(self, parts: Parts) -> None:
        heaters = [each for each in parts.of(Heater) if each.vessel == self.vessel]
        require(bool(heaters), f"{self.tag}: nothing heats {self.vessel}. Add a heater to it.")
        coldest = heaters[0].surroundings
        require(
            0 < self.hysteresis < self.at - coldest and self.at <= BOILING,
            f"{self.tag}: it can't switch on and off. Put it above {coldest:g} °C and its "
            f"hysteresis of {self.hysteresis:g} K, and not above {BOILING:g} °C.",
        )

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        device = with_symbol(self.tag, symbols)
        return f"Temperature switch {device} in {parts.label(self.vessel)} at {self.at:g} °C."

    def draw(self, sheet: PlantSheet) -> None:
        """Draw it at the wall, the hotter the higher."""

        def instrument(pen: Pen, wall: float, at: float, x: float, y: float) -> None:
            pen.path(f"M{wall - 16:g} {at:g}h28L{x - BUBBLE:g} {y:g}", "ink")
            pen.bubble(x, y, self.tag)
            sheet.points.sensor(pen, x + BUBBLE + 8, y, self.tag, f"{self.at:g} °C")

        height = next(v.height for v in sheet.parts.of(Vessel) if v.name == self.vessel)
        sheet.vessels.add_instrument(self.vessel, height * self.at / BOILING / 2, instrument)

    def allocate(self, site: Site) -> None:
        temperature = site.gauges[temperature_of(self.vessel)]
        site.senses[self.tag] = Bit(temperature.at_least(self.at, self.at - self.hysteresis))

    def stand_in(self, *, actuated: bool) -> dict[str, float]:
        below = self.at - self.hysteresis - NEAR
        return {temperature_of(self.vessel): self.at + NEAR if actuated else below}
