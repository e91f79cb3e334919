"""A motor behind its contactor: it runs up, draws a current, and jams when a hand jams it.

Its heat is that of the overload relay that watches it (``overload_relay``): a relay heats up with
the square of the current as the motor does.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.plant.checks import require, require_name
from server.plant.controls import HandSwitch
from server.plant.fields import Line, Output, Percent, Seconds
from server.plant.part import Part, with_symbol
from server.plant.parts.auxiliary_contact import AuxiliaryContact
from server.plant.parts.overload_relay import OverloadRelay, heat_of, target_of
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.pen import BUBBLE, GLYPH, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Quantity

LOCKED_ROTOR = 6.0
"""The current of a motor that stands or runs up, in multiples of its rated current (common
practice for squirrel-cage motors, no source)."""

WIDTH, HEIGHT, LINE_HEIGHT = 760, 150, 96
"""Of the drawing, and of one that has no instrument below its line."""
SUPPLY, CONTACTOR, RELAY, DRIVE = 150, 250, 390, 560
"""Where the supply, the contactor, the overload relay and the motor stand in the drawing."""


@dataclass(frozen=True, slots=True)
class Motor(Part):
    """A motor that takes ``run_up`` s to full speed and coasts as long.

    At full speed it draws ``load`` per cent of its rated current; while it runs up, and while it
    is jammed, LOCKED_ROTOR times that.
    """

    noun = "motor"

    name: Line
    tag: Line
    actuator: Output
    run_up: Seconds = 1.0
    load: Percent = 80.0
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require(self.run_up >= 0, f"{self.name}: the run-up is negative. Choose 0 s or more.")

    @property
    def jam(self) -> str:
        """The name of the hand control that jams it."""
        return f"{self.name}_jam"

    @property
    def speed(self) -> str:
        """The signal of its speed in per cent, in a concrete machine."""
        return f"{self.name}.speed"

    def names(self) -> tuple[str, ...]:
        return (self.name,)

    def controls(self, parts: Parts) -> tuple[HandSwitch, ...]:
        label, machine = f"Jam in {self.label.lower()}", f"{self.label} ({self.tag})"
        acts = f"{machine} jammed", f"the jam in {machine} was cleared"
        return (HandSwitch(self.jam, label, self.tag, on="jammed", off="free", acts=acts),)

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        contacts = [with_symbol(tag, symbols) for tag in self._auxiliary(parts)]
        relays = [with_symbol(relay.tag, symbols) for relay in self._relays(parts)]
        said = [f" Auxiliary contact of its contactor: {', '.join(contacts)}."] if contacts else []
        said += [f" Overload relay: {', '.join(relays)}."] if relays else []
        return f"{self.label}: motor {self.tag} ({self.actuator}).{''.join(said)}"

    def _auxiliary(self, parts: Parts) -> list[str]:
        return [each.tag for each in parts.of(AuxiliaryContact) if each.motor == self.name]

    def _relays(self, parts: Parts) -> list[OverloadRelay]:
        return [each for each in parts.of(OverloadRelay) if each.motor == self.name]

    def draw(self, sheet: PlantSheet) -> None:
        """Draw one line of its power circuit: supply, contactor, overload relay, motor."""

        def strip(pen: Pen, top: float) -> None:
            y = top + 52
            pen.text(24, top + 12, self.label, "label", "start")
            pen.path(f"M{SUPPLY - 8} {y + 8:g}l8 -16m4 16l8 -16m4 16l8 -16", "ink")
            pen.line(SUPPLY - 30, y, CONTACTOR, y, "wall")
            self._draw_contactor(sheet, pen, y)
            for relay in self._relays(sheet.parts)[:1]:
                relay.draw_on(sheet, pen, RELAY, y)
            self._draw_motor(pen, y)

        watched = self._relays(sheet.parts) or self._auxiliary(sheet.parts)
        sheet.add_strip(WIDTH, HEIGHT if watched else LINE_HEIGHT, strip)

    def _draw_contactor(self, sheet: PlantSheet, pen: Pen, y: float) -> None:
        pen.open("point", f"{self.actuator}.on")
        pen.line(CONTACTOR, y, CONTACTOR + 34, y - 16, "ink broken")
        pen.line(CONTACTOR, y, CONTACTOR + 36, y, "ink made")
        pen.close()
        pen.text(CONTACTOR + 18, y - 24, self.actuator, "symbol")
        pen.line(CONTACTOR + 36, y, DRIVE - GLYPH, y, "wall")
        for tag in self._auxiliary(sheet.parts)[:1]:
            x, below = CONTACTOR + 18, y + 54
            pen.path(f"M{x:g} {y + 6:g}V{below - BUBBLE:g}", "hair")
            pen.bubble(x, below, tag)
            sheet.points.sensor(pen, x + BUBBLE + 6, below, tag, "")

    def _draw_motor(self, pen: Pen, y: float) -> None:
        pen.open("flow", f"{self.actuator}.on")
        pen.motor(DRIVE, y)
        pen.close()
        pen.text(DRIVE, y - 24, self.tag, "tag")
        pen.line(DRIVE + GLYPH, y, DRIVE + 90, y, "wall")
        pen.value(DRIVE + 52, y - 10, self.speed, "0 %", unit="%", digits=0)
        pen.open("jam", f"panel.{self.jam}")
        pen.path(f"M{DRIVE + 82} {y - 14:g}l28 28m0 -28l-28 28", "wall across")
        pen.text(DRIVE + 96, y + 34, "jammed", "note across")
        pen.close()
        pen.rect(DRIVE + 84, y - 12, 24, 24, "ink")

    # -- steps --------------------------------------------------------------------------------

    def drive(self, site: Site) -> None:
        """Emit its speed, and for its overload relay the square of the current that it draws."""
        self._move_contacts(site)
        asm, on = site.asm, site.actuators[self.actuator]
        speed, at_speed = asm.quantity(), asm.bit()
        asm.define(self.speed, Quantity(speed, "%"))
        turning = asm.and_not(on, site.hand(self.jam))
        step = 100.0 if self.run_up == 0 else 100 * site.period / self.run_up
        full = asm.parameter(f"{self.name}.full", 100.0)
        asm.emit_physics(
            PhysicsOp.RAMP, speed, turning, full, site.rate(f"{self.name}.speed per scan", step)
        )
        asm.emit_physics(PhysicsOp.AT_LEAST, at_speed, speed, full, full)
        if self._relays(site.parts):
            steady = asm.and_(turning, at_speed)
            self._draw_current(site, "load", steady, self.load / 100)
            self._draw_current(site, "locked rotor", asm.and_not(on, steady), LOCKED_ROTOR)

    def _draw_current(self, site: Site, what: str, on: int, times: float) -> None:
        """Emit that it draws so many times its rated current while the plane ``on`` is TRUE."""
        squared = site.rate(f"{self.name}.{what}", times * times)
        site.asm.emit_physics(PhysicsOp.FLOW, site.row(target_of(self.name)), on, squared, 1)

    def permit(self, site: Site) -> None:
        """Let the heat rise by any current while its contactor is closed."""
        self._move_contacts(site)
        if self._relays(site.parts):
            site.may_rise(heat_of(self.name), site.actuators[self.actuator])

    def _move_contacts(self, site: Site) -> None:
        """Emit what the auxiliary contacts of its contactor show."""
        for tag in self._auxiliary(site.parts):
            site.asm.copy_to(site.actuating_plane(tag), site.actuators[self.actuator])
