"""A belt: one driven stretch of a conveyor, as seen from above."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from math import inf
from typing import Annotated

from pydantic import Field

from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandSwitch
from server.plant.fields import Length, Line, OnOff, Output, Seconds, Speed
from server.plant.part import Part, hand_switch
from server.plant.parts_view import Parts, track_of
from server.plant.physics import PhysicsOp
from server.plant.sheet.line import HALF, LineArea
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Quantity


@dataclass(frozen=True, slots=True)
class Belt(Part):
    """A stretch of ``length`` m at ``speed`` m/s; ``run_up`` s to full speed."""

    noun = "belt"

    name: Line
    tag: Line
    length: Length
    speed: Speed
    actuator: Output | None = None
    run_up: Seconds = 0.0
    on_at_start: Annotated[OnOff, Field(alias="at start")] = True
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, length=self.length, speed=self.speed)
        require(self.run_up >= 0, f"{self.name}: the run-up is negative. Choose 0 s or more.")

    def check(self, parts: Parts) -> None:
        require(
            parts.track is not None,
            f"{self.name}: nothing travels on it. Add 'line' with what it carries.",
        )

    def controls(self, parts: Parts) -> tuple[HandSwitch, ...]:
        return hand_switch(self)

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        begin = track_of(parts).begin_of(self.name)
        return (
            f"Belt {self.tag} ({self.actuator or 'by hand'}), {self.length:g} m long, "
            f"from {begin:g} m, {self.speed:g} m/s."
        )

    def draw(self, sheet: PlantSheet) -> None:
        area = sheet.line
        begin = area.track.begin_of(self.name)
        area.add_on_belts(partial(self._draw_belt, sheet, area, begin))
        middle = begin + min(self.length / 2, 0.12 * area.track.length)
        area.add_below(middle, partial(self._draw_motor, sheet, area))

    def _draw_belt(self, sheet: PlantSheet, area: LineArea, begin: float) -> None:
        pen, x, end = area.pen, area.x_of(begin), area.x_of(begin + self.length)
        sheet.working(self).open(pen, "belt")
        pen.rect(x + 1.5, area.top, end - x - 3, 2 * HALF, "ink paper outline", rx="6")
        pen.line(x + 12, area.top, x + 12, area.bottom, "hair")
        pen.line(end - 12, area.top, end - 12, area.bottom, "hair")
        chevrons = int((end - x - 40) // 56)
        for number in range(chevrons):
            left = x + (end - x) / 2 + 56 * (number - (chevrons - 1) / 2)
            pen.path(f"M{left - 4:g} {area.middle - 7:g}l7 7l-7 7", "hair mark")
        pen.close()

    def _draw_motor(self, sheet: PlantSheet, area: LineArea, x: float, y: float) -> None:
        pen = area.pen
        sheet.working(self).open(pen, "flow")
        pen.line(x, area.bottom, x, y - 15)
        pen.motor(x, y)
        pen.close()
        pen.text(x + 24, y - 5, self.tag, "tag", "start")
        pen.text(x + 24, y + 12, self.actuator or self.label, "symbol", "start")

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        """In an abstract machine it is only known whether it may still coast."""
        if site.abstract and self.run_up > 0:
            site.keep(self, site.asm.bit())

    def drive(self, site: Site) -> None:
        asm, track = site.asm, track_of(site.parts)
        begin = track.begin_of(self.name)
        first, last = self.name == track.belts[0][0], self.name == track.belts[-1][0]
        step = self.speed if self.run_up == 0 else self.speed * site.period / self.run_up
        speed = asm.quantity()
        asm.define(f"{self.name}.speed", Quantity(speed, "m/s"))
        full = site.rate(f"{self.name}.speed", self.speed)
        per_scan = asm.parameter(f"{self.name}.speed per scan", step)
        asm.emit_physics(PhysicsOp.RAMP, speed, site.running(self), full, per_scan)
        low = asm.parameter(f"{self.name}.begin", -inf if first else begin)
        high = asm.parameter(f"{self.name}.end", inf if last else begin + self.length)
        scan = asm.parameter(f"{self.name}.scan", site.period)
        asm.emit_physics(PhysicsOp.CARRY, *site.item_rows, speed, low, high, scan)

    def emit_may_move(self, site: Site) -> int:
        """Emit whether it may move in an abstract machine: with a run-up, for any time after."""
        on = site.running(self)
        if self.run_up == 0:
            return on
        asm, coasting = site.asm, site.kept(self, int)
        asm.copy_to(coasting, asm.or_(on, asm.and_(coasting, asm.choice())))
        return coasting
