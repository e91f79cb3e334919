"""A heater in a vessel: the temperature of well mixed water, from heat, losses and cold inflow.

First-order energy balance of a vessel of area A with water h high:
``c A h dT/dt = P - U (T - Ta) - c q (T - Ta)``, with the heater's power P, losses U, the
temperature Ta of the surroundings and the flow q that comes in as cold as they are.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Annotated, TypeAlias

from pydantic import BeforeValidator, Field, WithJsonSchema

from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandControl, HandSetting
from server.plant.fields import Line, OnOff, Output, Temperature, VesselName, measured
from server.plant.measures import Dimension
from server.plant.part import Part, hand_switch
from server.plant.parts.outlet import Outlet
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.pen import Pen
from server.plant.sheet.sheet import PlantSheet
from server.plant.sheet.vessels import WIDTH, Column
from server.plant.site import Site
from server.scan.instructions import TRUE

HEAT_CAPACITY = 4.17e6
"""Heat that a cubic meter of water takes up per kelvin, J/(m³ K), between 20 and 60 °C: 998 kg/m³
times 4.18 kJ/(kg K) (from memory)."""

BOILING = 100.0
"""°C at which the temperature ends."""

LEAST = 0.01
"""Height of water in m below which the balance is that of so much water: an empty vessel has no
temperature."""

POWER = Dimension("power", "W", {"W": Decimal(1), "kW": Decimal(1000)}, "30 kW")
LOSSES = Dimension("heat loss", "W/K", {"W/K": Decimal(1)}, "40 W/K")

Power: TypeAlias = Annotated[
    float, BeforeValidator(measured(POWER)), WithJsonSchema(POWER.json_schema)
]
Losses: TypeAlias = Annotated[
    float, BeforeValidator(measured(LOSSES)), WithJsonSchema(LOSSES.json_schema)
]


def temperature_of(vessel: str) -> str:
    """Return the signal of the temperature of a vessel's water, in °C."""
    return f"{vessel}.temperature"


@dataclass(frozen=True, slots=True)
class Heater(Part):
    """Heats what is in ``vessel`` with ``power`` W; ``losses`` W/K go to the surroundings."""

    noun = "heater"

    name: Line
    tag: Line
    vessel: VesselName
    power: Power
    losses: Losses
    surroundings: Temperature = 20.0
    start: Annotated[Temperature | None, Field(alias="start temperature")] = None
    actuator: Output | None = None
    on_at_start: Annotated[OnOff, Field(alias="at start")] = True
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, power=self.power)
        require(self.losses >= 0, f"{self.name}: the losses are negative. Choose 0 W/K or more.")
        require(
            0 <= self.surroundings <= self.begins_at <= BOILING,
            f"{self.name}: the water is colder than its surroundings or boils. Choose "
            f"{self.surroundings:g} °C to {BOILING:g} °C.",
        )

    @property
    def begins_at(self) -> float:
        """The temperature at the start, °C."""
        return self.surroundings if self.start is None else self.start

    def check(self, parts: Parts) -> None:
        heaters = [each for each in parts.of(Heater) if each.vessel == self.vessel]
        require(len(heaters) == 1, f"{self.vessel}: a vessel has one heater. Leave one out.")
        warm = [o.name for o in parts.of(Outlet) if o.target == self.vessel]
        warm += [s.name for s in self._streams(parts) if s.source is not None]
        require(
            not warm,
            f"{self.name}: only cold water from outside may flow into {self.vessel}, not "
            f"{', '.join(warm)}.",
        )

    def _streams(self, parts: Parts) -> tuple[Stream, ...]:
        return tuple(s for s in parts.of(Stream) if s.target == self.vessel)

    def controls(self, parts: Parts) -> tuple[HandControl, ...]:
        label = f"Temperature of the {parts.label(self.vessel).lower()}"
        name = temperature_of(self.vessel)
        return (
            *hand_switch(self),
            HandSetting(name, "temperature", label, BOILING, 1.0, "°C"),
        )

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        return (
            f"{self.label} {self.tag} ({self.actuator or 'by hand'}) in "
            f"{parts.label(self.vessel)}: {self.power / 1000:g} kW, at {self.begins_at:g} °C."
        )

    def draw(self, sheet: PlantSheet) -> None:
        def inside(pen: Pen, c: Column) -> None:
            y, left, right = c.bottom - 46, c.left - 26, c.left + WIDTH - 24
            sheet.working(self).open(pen, "flow")
            coil = "".join("l8 -9l8 18l8 -9" for _ in range(4))
            pen.path(f"M{left:g} {y:g}H{c.left + 30}{coil}H{right:g}", "pipe")
            pen.close()
            pen.text(left - 6, y - 4, self.tag, "tag", "end")
            pen.text(left - 6, y + 12, self.actuator or self.label, "symbol", "end")
            shown = f"{self.begins_at:.0f} °C"
            name = temperature_of(self.vessel)
            pen.value(c.left + WIDTH / 2, y - 16, name, shown, unit="°C", digits=0)

        sheet.vessels.add_beside(self.vessel, inside)

    # -- steps --------------------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        name = temperature_of(self.vessel)
        site.gauge(name, self.surroundings, BOILING, self.begins_at, unit="°C")

    def drive(self, site: Site) -> None:
        """Emit the heat and the cold water of a scan, both for a vessel of water 1 m high."""
        area = self._area(site.parts)
        warming = self.power * site.period / (HEAT_CAPACITY * area)
        rows = self._rows(site)
        rate = site.rate(f"{self.name}.warming", warming)
        site.asm.emit_physics(PhysicsOp.FLOW, rows.heat, site.running(self), rate, 1)
        for stream in self._streams(site.parts):
            rate = site.rate(f"{self.name}.{stream.name}", stream.rate * site.period / area)
            site.asm.emit_physics(PhysicsOp.FLOW, rows.cold, site.running(stream), rate, 1)

    def move(self, site: Site) -> None:
        asm, rows = site.asm, self._rows(site)
        loss = self.losses * site.period / (HEAT_CAPACITY * self._area(site.parts))
        # WARM reads four parameters in a row.
        first = site.rate(f"{self.name}.loss", loss)
        asm.parameter(f"{self.name}.surroundings", self.surroundings)
        asm.parameter(f"{self.name}.boiling", BOILING)
        asm.parameter(f"{self.name}.least", LEAST)
        temperature = site.row(temperature_of(self.vessel))
        level = site.row(f"{self.vessel}.level")
        asm.emit_physics(PhysicsOp.WARM, temperature, rows.heat, rows.cold, level, first)

    def permit(self, site: Site) -> None:
        """Let the water cool at any time; nothing but the heater warms it."""
        site.may_rise(temperature_of(self.vessel), site.running(self))
        site.may_fall(temperature_of(self.vessel), TRUE)

    def _area(self, parts: Parts) -> float:
        return next(v.area for v in parts.of(Vessel) if v.name == self.vessel)

    def _rows(self, site: Site) -> "_Rows":
        return _Rows(site.row(f"{self.vessel}.heat"), site.row(f"{self.vessel}.cold"))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows that add up what a scan brings: heat in K m, cold water in m."""

    heat: int
    cold: int
