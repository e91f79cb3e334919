"""An axis: a lift, a turntable, a motor valve between two ends.

It is drawn as a carriage on its rail, or from above as a table that makes a quarter turn.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import cos, radians, sin
from typing import Annotated

from pydantic import Field

from server.plant.checks import require, require_name, require_positive
from server.plant.fields import Line, Output, Percent, Seconds
from server.plant.part import Part, with_symbol
from server.plant.part_hooks import Drive
from server.plant.parts.position_switch import PositionSwitch
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site

LEFT, LENGTH, HEIGHT, WIDTH = 190, 420, 150, 760
RAIL = 46
"""Height of the rail below the top of the drawing."""


TABLE_HEIGHT, RADIUS, CENTER, OUTWARD = 220, 62, 300, 16
"""The height of a turntable's drawing, its radius, where it stands, its distance from switches."""

QUARTER = 90 / 100
"""Degrees that a table turns, per cent of its travel."""


class AxisDrawn(StrEnum):
    """What an axis is drawn as."""

    RAIL = "rail"
    TURNTABLE = "turntable"


@dataclass(frozen=True, slots=True)
class Axis(Part):
    """A part that is driven between two ends: a lift, a turntable, a pusher, a motor valve.

    It takes ``seconds_forward`` for its whole travel and ``seconds_back`` for the way back;
    without an actuator ``back`` a spring pulls it there. Its position is 0 to 100 per cent.
    """

    noun = "axis"

    name: Line
    forward: Output
    back: Output | None = None
    seconds_forward: Annotated[Seconds, Field(alias="time forward")] = field(kw_only=True)
    seconds_back: Annotated[Seconds, Field(alias="time back")] = field(kw_only=True)
    start: Percent = 0.0
    label: Line = field(kw_only=True)
    drawn: Annotated[AxisDrawn, Field(strict=False)] = field(
        default=AxisDrawn.RAIL, kw_only=True, repr=False
    )

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(
            self.name, seconds_forward=self.seconds_forward, seconds_back=self.seconds_back
        )
        require(
            0 <= self.start <= 100, f"{self.name}: the start is outside its travel, 0 to 100 %."
        )

    @property
    def position(self) -> str:
        """The signal of its position."""
        return f"{self.name}.position"

    def drives(self) -> tuple[Drive, ...]:
        return tuple(Drive(end) for end in (self.forward, self.back) if end is not None)

    def _switches(self, parts: Parts) -> list[PositionSwitch]:
        return [s for s in parts.of(PositionSwitch) if s.axis == self.name]

    # -- what people see ----------------------------------------------------------------------

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        back = f"back by {self.back}" if self.back else "back by a spring"
        places = [f"{with_symbol(s.tag, symbols)} at {s.at:g} %" for s in self._switches(parts)]
        watched = f" Position switches: {', '.join(places)}." if places else ""
        return f"{self.label}: forward by {self.forward}, {back}.{watched}"

    def draw(self, sheet: PlantSheet) -> None:
        if self.drawn is AxisDrawn.TURNTABLE:
            sheet.add_strip(WIDTH, TABLE_HEIGHT, lambda pen, top: self._table(sheet, pen, top))
            return

        def strip(pen: Pen, top: float) -> None:
            rail = top + RAIL
            pen.text(24, top + 12, self.label, "label", "start")
            pen.line(LEFT - 30, rail, LEFT + LENGTH + 30, rail, "wall")
            pen.path(f"M{LEFT - 30} {rail - 10:g}v20M{LEFT + LENGTH + 30} {rail - 10:g}v20", "wall")
            for switch in sorted(self._switches(sheet.parts), key=lambda s: s.at):
                x, y = LEFT + LENGTH * switch.at / 100, rail + 48
                pen.line(x, rail + 14, x, y - BUBBLE)
                pen.path(f"M{x - 6:g} {rail + 14:g}h12l-6 -9z", "ink paper")
                pen.bubble(x, y, switch.tag)
                sheet.points.sensor(pen, x + BUBBLE + 6, y, switch.tag, f"{switch.at:g} %")
            self._drives(pen, rail)
            pen.raw(
                f'<g class="carriage" data-kind="axis" data-signal="{self.position}" '
                f'data-origin="{LEFT}" data-scale="{LENGTH / 100:g}" '
                f'transform="translate({LEFT + LENGTH * self.start / 100:g} 0)">'
            )
            pen.rect(-22, rail - 16, 44, 26, "ink paper outline", rx="3")
            pen.close()

        sheet.add_strip(WIDTH, HEIGHT, strip)

    def _table(self, sheet: PlantSheet, pen: Pen, top: float) -> None:
        """Draw a table from above: its rollers and the mark at its rim turn, counterclockwise."""
        x, y = CENTER, top + TABLE_HEIGHT / 2 + 10
        pen.text(24, top + 12, self.label, "label", "start")
        pen.circle(x, y, RADIUS, "wall")
        for switch in self._switches(sheet.parts):
            angle = radians(QUARTER * switch.at)
            rim = x + RADIUS * cos(angle), y - RADIUS * sin(angle)
            out = x + (RADIUS + OUTWARD) * cos(angle), y - (RADIUS + OUTWARD) * sin(angle)
            bubble = x + RADIUS + 70
            pen.line(*rim, *out)
            pen.line(*out, bubble - BUBBLE, out[1])
            pen.bubble(bubble, out[1], switch.tag)
            sheet.points.sensor(pen, bubble + BUBBLE + 6, out[1], switch.tag, f"{switch.at:g} %")
        left = x - RADIUS - 40
        _turning(pen, self.forward, left, y, "down")
        if self.back is not None:
            _turning(pen, self.back, left - 80, y, "up")
        pen.raw(
            f'<g class="carriage" data-kind="turntable" data-signal="{self.position}" '
            f'data-x="{x:g}" data-y="{y:g}" data-scale="{-QUARTER:g}" '
            f'transform="rotate({-QUARTER * self.start:g} {x:g} {y:g})">'
        )
        pen.rect(x - 44, y - 26, 88, 52, "ink paper outline", rx="2")
        for roller in range(-33, 34, 11):
            pen.line(x + roller, y - 26, x + roller, y + 26)
        pen.path(f"M{x + RADIUS - 2:g} {y:g}l-12 -7v14z", "ink solid")
        pen.close()

    def _drives(self, pen: Pen, rail: float) -> None:
        _arrow(pen, self.forward, LEFT + LENGTH + 44, rail, "right")
        if self.back is not None:
            _arrow(pen, self.back, LEFT - 44, rail, "left")
        else:
            pen.path(f"M{LEFT - 110} {rail:g}h8l5 -9l10 18l10 -18l10 18l10 -18l5 9h8", "ink")

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        site.gauge(self.position, 0.0, 100.0, self.start, unit="%")

    def drive(self, site: Site) -> None:
        asm, travel = site.asm, site.row(f"{self.name}.travel")
        forward = site.rate(f"{self.name}.forward", 100 / self.seconds_forward)
        back = site.rate(f"{self.name}.back", 100 / self.seconds_back)
        onward, backward = self._driven(site)
        asm.emit_physics(PhysicsOp.FLOW, travel, onward, forward, 1)
        asm.emit_physics(PhysicsOp.FLOW, travel, backward, back, -1)

    def move(self, site: Site) -> None:
        asm, position, travel = site.asm, site.row(self.position), site.row(f"{self.name}.travel")
        scan = asm.parameter(f"{self.name}.scan", site.period)
        low = asm.parameter(f"{self.name}.low", 0.0)
        high = asm.parameter(f"{self.name}.high", 100.0)
        asm.emit_physics(PhysicsOp.INTEGRATE, position, travel, scan, low, high)

    def permit(self, site: Site) -> None:
        """Let it go any way while both ways are driven."""
        onward, backward = self._driven(site)
        site.may_rise(self.position, onward)
        site.may_fall(self.position, backward)

    def _driven(self, site: Site) -> tuple[int, int]:
        """Planes: driven forward, driven back. A spring pulls back while nothing drives forward."""
        onward = site.actuators[self.forward]
        if self.back is None:
            return onward, site.asm.not_(onward)
        return onward, site.actuators[self.back]


def _turning(pen: Pen, symbol: str, x: float, y: float, way: str) -> None:
    """Draw which way an output turns the table's left side."""
    end = y + (28 if way == "down" else -28)
    pen.open("flow", f"{symbol}.on")
    pen.line(x, 2 * y - end, x, end, "pipe")
    pen.arrow(x, end + (6 if way == "down" else -6), way)
    pen.close()
    pen.text(x, y + 56, symbol, "symbol")


def _arrow(pen: Pen, symbol: str, x: float, y: float, way: str) -> None:
    end = x + (60 if way == "right" else -60)
    pen.open("flow", f"{symbol}.on")
    pen.line(x, y, end, y, "pipe")
    pen.arrow(end + (6 if way == "right" else -6), y, way)
    pen.close()
    pen.text((x + end) / 2, y - 14, symbol, "symbol")
