"""A level switch: it tells whether the liquid covers it, with hysteresis."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.plant.c_code import CCode, c_level, c_sense
from server.plant.checks import require
from server.plant.device_kind import contact
from server.plant.fields import Length, Line, VesselName
from server.plant.part import Part, with_symbol
from server.plant.parts.vessel import Vessel
from server.plant.parts_view import Parts
from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Bit

NEAR = 0.005
"""A hand sets a level so far beyond a switch, m."""

HYSTERESIS = 0.01
"""How far the level falls below a level switch before it drops out, in m (common practice, no
source)."""


@dataclass(frozen=True, slots=True)
class LevelSwitch(Part):
    """Covered from ``height`` m upwards, until the level is ``hysteresis`` m below."""

    noun = "level switch"
    senses = contact(noun, ("LSL", "LSH", "LSLL", "LSHH"), "while the liquid covers it")

    tag: Line
    vessel: VesselName
    height: Length
    hysteresis: Length = HYSTERESIS

    def check(self, parts: Parts) -> None:
        top = next(v.height for v in parts.of(Vessel) if v.name == self.vessel)
        require(
            0 < self.hysteresis < self.height <= top,
            f"{self.tag}: it can't switch on and off. Put it above its hysteresis of "
            f"{self.hysteresis:g} m and not above {top:g} m.",
        )

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        device = with_symbol(self.tag, symbols)
        return f"Level switch {device} in {parts.label(self.vessel)} at {self.height:g} m."

    def draw(self, sheet: PlantSheet) -> None:
        def instrument(pen: Pen, wall: float, at: float, x: float, y: float) -> None:
            pen.path(f"M{wall} {at:g}h12L{x - BUBBLE:g} {y:g}", "ink")
            pen.bubble(x, y, self.tag)
            sheet.points.sensor(pen, x + BUBBLE + 8, y, self.tag, f"{self.height:g} m")

        sheet.vessels.add_instrument(self.vessel, self.height, instrument)

    def allocate(self, site: Site) -> None:
        level = site.gauges[f"{self.vessel}.level"]
        covered = level.at_least(self.height, self.height - self.hysteresis)
        site.senses[self.tag] = Bit(covered)

    def stand_in(self, *, actuated: bool) -> dict[str, float]:
        below = self.height - self.hysteresis - NEAR
        return {f"{self.vessel}.level": self.height + NEAR if actuated else below}

    def write_c(self, code: CCode) -> None:
        level, sense = c_level(self.vessel), c_sense(self.tag)
        code.state[sense] = ("bool", "0")
        fall = self.height - self.hysteresis
        code.sense.append(
            f"{sense} = ({level} >= {self.height!r}) | ({sense} & ({level} >= {fall!r}));"
        )
