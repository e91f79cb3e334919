"""A hole at the bottom of a vessel, with a valve: it drains by the head of liquid."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import pi, sqrt
from typing import Annotated

from pydantic import Field

from server.plant.c_code import CCode
from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandSwitch
from server.plant.fields import Length, Line, OnOff, Output, VesselName
from server.plant.part import Part, hand_switch
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site

GRAVITY = 9.80665
"""Standard acceleration of gravity in m/s² (ISO 80000-3, from memory)."""

DISCHARGE = 0.62
"""Discharge coefficient of a sharp-edged orifice: 0.97 x 0.64 (Encyclopaedia Britannica, 11th
ed., 'Hydraulics')."""


@dataclass(frozen=True, slots=True)
class Outlet(Part):
    """A hole at the bottom of a vessel, ``diameter`` m, into ``target`` (None: outside)."""

    noun = "outlet"

    name: Line
    tag: Line
    vessel: Annotated[VesselName, Field(alias="from")]
    diameter: Length
    discharge: Annotated[float, Field(strict=False)] = DISCHARGE
    target: Annotated[VesselName | None, Field(alias="to")] = None
    actuator: Output | None = None
    on_at_start: Annotated[OnOff, Field(alias="at start")] = True
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, diameter=self.diameter, discharge=self.discharge)
        require(
            self.vessel != self.target,
            f"{self.name}: it leads back into {self.vessel}. Name another target.",
        )

    @property
    def drain(self) -> float:
        """Cd a sqrt(2g): the outflow in m³/s at a head of 1 m, as the root of the head grows."""
        return self.discharge * pi * self.diameter**2 / 4 * sqrt(2 * GRAVITY)

    def controls(self, parts: Parts) -> tuple[HandSwitch, ...]:
        return hand_switch(self)

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        ends = f"from {parts.label(self.vessel)} to {parts.label(self.target)}"
        return f"Valve {self.tag} ({self.actuator or 'by hand'}) {ends}."

    def draw(self, sheet: PlantSheet) -> None:
        sheet.vessels.add_pipe(self.vessel, self.target, sheet.working(self), sheet.valve_of(self))

    def drive(self, site: Site) -> None:
        drain = site.rate(f"{self.name}.drain", self.drain)
        row = site.row(drain_of(self.vessel))
        site.asm.emit_physics(PhysicsOp.FLOW, row, site.running(self), drain, 1)

    def permit(self, site: Site) -> None:
        on = site.running(self)
        site.may_fall(f"{self.vessel}.level", on)
        if self.target is not None:
            site.may_rise(f"{self.target}.level", on)

    def write_c(self, code: CCode) -> None:
        if self.target is not None:
            raise ValueError(f"{self.name} can't be written as straight-line C.")
        code.drive.append(f"drain_{self.vessel} += {code.running(self)} ? {self.drain!r} : 0.0;")


def inflow(vessel: str) -> str:
    """Return the name of the row that adds up what flows into a vessel in a scan, m³/s."""
    return f"{vessel}.flow"


def drain_of(vessel: str) -> str:
    """Return the name of the row that adds up the open outlets of a vessel (``Outlet.drain``)."""
    return f"{vessel}.drain"
