"""An overload relay: it heats up with the current of its motor, trips, and is reset by hand.

Its heat q, where the rated current for ever comes to 1, follows ``dq/dt = (i² - q) / T`` with the
current i in multiples of the rated one: the first-order thermal model. T is chosen for the trip
class, TRIP for the currents between which a relay may trip at all.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from server.plant.checks import require
from server.plant.controls import HandControl, HandSetting, HandSwitch
from server.plant.device_kind import contact
from server.plant.fields import Line, MotorName
from server.plant.part import Part
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.pen import BUBBLE, Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Bit
from server.scan.instructions import TRUE

TRIP_CLASSES = (10, 20, 30)
"""Trip classes: cold and at 7.2 times the rated current a relay of class 10 trips after 4 to 10 s,
of class 20 after 6 to 20 s, of class 30 after 9 to 30 s (IEC 60947-4-1, as published trip tables
give it)."""

TRIP = 1.12**2
"""The heat at which it trips: for ever at 1.05 times the rated current it does not, at 1.2 times it
does (IEC 60947-4-1, from memory)."""

TIME_CONSTANT = 24.5
"""T in s for each second of the trip class: so it trips after 0.6 times its class at 7.2 times the
rated current, ``T = 0.6 / ln(7.2² / (7.2² - TRIP))``."""

RESET = 90.0
"""Per cent of the heat at which it trips, below which it can be reset (common practice, no
source)."""

HOTTEST = 120.0
"""Per cent at which its heat ends, so that it has cooled down in about a minute (our choice)."""


def heat_of(motor: str) -> str:
    """Return the signal of the heat of a motor's relay, in per cent of that at which it trips."""
    return f"{motor}.heat"


def target_of(motor: str) -> str:
    """Return the name of the row that holds the square of the motor's current in a scan."""
    return f"{motor}.current squared"


@dataclass(frozen=True, slots=True)
class OverloadRelay(Part):
    """Tripped from 100 % heat on, until it is reset by hand below RESET per cent.

    While its reset is held, it resets as soon as it has cooled down; it trips all the same.
    """

    noun = "overload relay"
    senses = contact(noun, ("ISH",), "from when it trips until it is reset")

    tag: Line
    motor: MotorName
    trip_class: Annotated[int, Field(strict=True)] = 10

    def __post_init__(self) -> None:
        require(
            self.trip_class in TRIP_CLASSES,
            f"{self.tag}: there is no trip class {self.trip_class}. Choose 10, 20 or 30.",
        )

    @property
    def reset(self) -> str:
        """The name of the hand control that resets it."""
        return f"{self.motor}_reset"

    @property
    def time_constant(self) -> float:
        """T in s."""
        return TIME_CONSTANT * self.trip_class

    def check(self, parts: Parts) -> None:
        relays = [each for each in parts.of(OverloadRelay) if each.motor == self.motor]
        require(len(relays) == 1, f"{self.motor}: a motor has one overload relay. Leave one out.")

    def controls(self, parts: Parts) -> tuple[HandControl, ...]:
        heat = f"Heat of {self.tag}"
        acts = f"the reset of {self.tag} was pressed", f"the reset of {self.tag} was released"
        return (
            HandSwitch(
                *(self.reset, "Overload reset", self.tag), on="pressed", off="released", acts=acts
            ),
            HandSetting(heat_of(self.motor), "heat", heat, HOTTEST, 1.0, "%"),
        )

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        """Say nothing: its motor does."""
        return ""

    def draw(self, sheet: PlantSheet) -> None:
        """Draw nothing: its motor does."""

    def draw_on(self, sheet: PlantSheet, pen: Pen, x: float, y: float) -> None:
        """Draw its heater on the motor's line, its heat and its contact."""
        pen.rect(x - 20, y - 14, 40, 28, "ink paper outline")
        pen.path(f"M{x - 20:g} {y:g}h10v-7h20v7h10", "ink")
        pen.value(x, y - 22, heat_of(self.motor), "0 %", unit="%", digits=0)
        below = y + 54
        pen.path(f"M{x:g} {y + 14:g}V{below - BUBBLE:g}", "hair")
        pen.bubble(x, below, self.tag)
        sheet.points.sensor(pen, x + BUBBLE + 6, below, self.tag, f"class {self.trip_class}")

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        heat = site.gauge(heat_of(self.motor), 0.0, HOTTEST, 0.0, unit="%")
        tripped = site.asm.bit()
        site.keep(self, _Latch(heat.at_least(100.0, RESET), tripped))
        site.senses[self.tag] = Bit(tripped)

    def drive(self, site: Site) -> None:
        self._latch(site)

    def move(self, site: Site) -> None:
        """Heat tends toward the square of the current, both in per cent of TRIP."""
        asm = site.asm
        x = site.period / self.time_constant
        # The share of a step that a lag goes in a scan, to second order: 1 - exp(-x).
        share = site.rate(f"{self.motor}.heat per scan", x / (1 + x / 2))
        scale = asm.parameter(f"{self.motor}.heat scale", 100 / TRIP)
        low = asm.parameter(f"{self.motor}.coldest", 0.0)
        high = asm.parameter(f"{self.motor}.hottest", HOTTEST)
        rows = site.row(heat_of(self.motor)), site.row(target_of(self.motor))
        asm.emit_physics(PhysicsOp.LAG, *rows, share, scale, low, high)

    def permit(self, site: Site) -> None:
        """Let it cool at any time: whatever the current, some heat is above it."""
        self._latch(site)
        site.may_fall(heat_of(self.motor), TRUE)

    def _latch(self, site: Site) -> None:
        """Emit whether it is tripped, from what its heat was in the scan before."""
        asm, latch = site.asm, site.kept(self, _Latch)
        held = asm.and_not(latch.tripped, site.hand(self.reset))
        asm.copy_to(latch.tripped, asm.or_(latch.hot, held))

    def stand_in(self, *, actuated: bool) -> dict[str, float]:
        return {heat_of(self.motor): HOTTEST if actuated else 0.0}


@dataclass(frozen=True, slots=True)
class _Latch:
    """Planes: too hot to be reset, and tripped."""

    hot: int
    tripped: int
