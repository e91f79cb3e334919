"""A vessel with upright walls: the level of what streams and outlets move."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

from server.plant.c_code import CCode, c_level
from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandSetting
from server.plant.fields import Area, Length, Line
from server.plant.part import Part
from server.plant.parts.outlet import Outlet, drain_of, inflow
from server.plant.parts_view import Parts
from server.plant.physics import NOWHERE, PhysicsOp
from server.plant.sheet.pen import Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.sheet.vessels import WIDTH, Column
from server.plant.site import MILLIMETERS, Site


@dataclass(frozen=True, slots=True)
class Vessel(Part):
    """Upright walls: ``area`` in m², ``height`` and ``start_level`` in m.

    Gravity outlets of one vessel lead to one place. Vessels stand in the order of the flow where
    one drains into another.
    """

    noun = "vessel"

    name: Line
    area: Area
    height: Length
    start_level: Length = 0.0
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, area=self.area, height=self.height)
        require(
            0 <= self.start_level <= self.height,
            f"{self.name}: the start level is outside the vessel. Choose 0 m to {self.height:g} m.",
        )

    @property
    def level(self) -> str:
        """The signal of its level."""
        return f"{self.name}.level"

    def _outlets(self, parts: Parts) -> tuple[Outlet, ...]:
        return tuple(o for o in parts.of(Outlet) if o.vessel == self.name)

    def check(self, parts: Parts) -> None:
        ends = {outlet.target for outlet in self._outlets(parts)}
        require(len(ends) < 2, f"{self.name}: its outlets lead to different places.")

    def controls(self, parts: Parts) -> tuple[HandSetting, ...]:
        label = f"Level of the {self.label.lower()}"
        return (HandSetting(self.level, "level", label, self.height, MILLIMETERS, "mm"),)

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        return (
            f"{self.label}: {self.height:g} m high, {self.area:g} m², "
            f"filled to {self.start_level:g} m."
        )

    def draw(self, sheet: PlantSheet) -> None:
        sheet.vessels.add_vessel(
            self.name, self.height, partial(self._draw, sheet.vessels.pen, sheet.name)
        )

    def _draw(self, pen: Pen, name: str, c: Column) -> None:
        surface = c.y_of(self.start_level)
        pen.open("level", self.level, low=0.0, high=self.height, bottom=c.bottom, top=c.top)
        pen.rect(c.left, surface, WIDTH, c.bottom - surface, "liquid", fill=f"url(#{name}-liquid)")
        pen.line(c.left, surface, c.left + WIDTH, surface, "surface")
        pen.close()
        pen.path(f"M{c.left} {c.top:g}V{c.bottom:g}h{WIDTH}V{c.top:g}", "ink wall")
        for number, words in enumerate(_two_lines(self.label)):
            pen.text(c.left + WIDTH / 2, c.top + 32 + 16 * number, words, "label")
        shown = f"{self.start_level:.2f} m"
        pen.value(c.left + WIDTH / 2, c.bottom - 12, self.level, shown, unit="m", digits=2)

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        site.gauge(self.level, 0.0, self.height, self.start_level, unit="m", scale=MILLIMETERS)

    def move(self, site: Site) -> None:
        asm = site.asm
        level, flow = site.row(self.level), site.row(inflow(self.name))
        top = asm.parameter(f"{self.name}.height", self.height)
        outlets = self._outlets(site.parts)
        if not outlets:
            per_area = asm.parameter(f"{self.name}.scan per area", site.period / self.area)
            bottom = asm.parameter(f"{self.name}.bottom", 0.0)
            asm.emit_physics(PhysicsOp.INTEGRATE, level, flow, per_area, bottom, top)
            return
        half = asm.parameter(f"{self.name}.half scan per area", site.period / (2 * self.area))
        drain, end = site.row(drain_of(self.name)), outlets[0].target
        target = NOWHERE if end is None else site.row(inflow(end))
        asm.emit_physics(PhysicsOp.TANK, level, flow, drain, half, top, target)

    def write_c(self, code: CCode) -> None:
        level, flow = c_level(self.name), f"flow_{self.name}"
        code.state[level] = ("double", repr(self.start_level))
        code.drive.append(f"double {flow} = 0.0, drain_{self.name} = 0.0;")
        if not self._outlets(code.parts):
            code.move.append(f"{level} += {flow} * {code.period / self.area!r};")
            code.move.append(f"{level} = fmin(fmax({level}, 0.0), {self.height!r});")
            return
        code.move += [
            f"double added_{self.name} = {flow} * {code.period / (2 * self.area)!r};",
            f"{level} = fmax({level} + added_{self.name}, 0.0);",
            f"{level} = {level} - drained({level}, drain_{self.name} * "
            f"{code.period / (2 * self.area)!r}) + added_{self.name};",
            f"{level} = fmin(fmax({level}, 0.0), {self.height!r});",
        ]


def _two_lines(label: str) -> list[str]:
    """Return a label in at most two lines, broken near its middle."""
    if len(label) <= 18 or " " not in label:
        return [label]
    spaces = [i for i, character in enumerate(label) if character == " "]
    middle = min(spaces, key=lambda at: max(at, len(label) - at))
    return [label[:middle], label[middle + 1 :]]
