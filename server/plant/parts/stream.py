"""A steady flow through a pump or a valve, between vessels or from or to outside."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated

from pydantic import Field

from server.plant.c_code import CCode
from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandSwitch
from server.plant.fields import Flow, Line, OnOff, Output, VesselName
from server.plant.part import Part, hand_switch
from server.plant.parts.outlet import inflow
from server.plant.parts.vessel import Vessel
from server.plant.parts_view import Parts
from server.plant.physics import PhysicsOp
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site


class Drawn(StrEnum):
    """What a stream is drawn as."""

    PUMP = "pump"
    VALVE = "valve"


@dataclass(frozen=True, slots=True)
class Stream(Part):
    """A flow of ``rate`` m³/s between vessels, None being outside; no more than there is."""

    noun = "stream"

    name: Line
    tag: Line
    rate: Flow
    source: Annotated[VesselName | None, Field(alias="from")] = None
    target: Annotated[VesselName | None, Field(alias="to")] = None
    actuator: Output | None = None
    drawn: Drawn = Drawn.PUMP
    on_at_start: Annotated[OnOff, Field(alias="at start")] = True
    label: Line = field(kw_only=True)

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, rate=self.rate)
        require(
            self.source != self.target,
            f"{self.name}: it leads from {self.source or 'outside'} to the same place. "
            "Name another source or target.",
        )

    def controls(self, parts: Parts) -> tuple[HandSwitch, ...]:
        return hand_switch(self)

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        worked, kind = self.actuator or "by hand", self.drawn.capitalize()
        ends = f"from {parts.label(self.source)} to {parts.label(self.target)}"
        return f"{kind} {self.tag} ({worked}) {ends}."

    def draw(self, sheet: PlantSheet) -> None:
        symbol = sheet.pump_of(self) if self.drawn is Drawn.PUMP else sheet.valve_of(self)
        sheet.vessels.add_pipe(self.source, self.target, sheet.working(self), symbol)

    def drive(self, site: Site) -> None:
        asm = site.asm
        rate, on = site.rate(f"{self.name}.rate", self.rate), site.running(self)
        if self.source is not None and self.target is not None:
            source = next(v for v in site.parts.of(Vessel) if v.name == self.source)
            area = asm.parameter(f"{self.name}.source area per scan", source.area / site.period)
            flows = site.row(inflow(self.source)), site.row(inflow(self.target))
            asm.emit_physics(PhysicsOp.PUMP, *flows, on, rate, site.row(source.level), area)
        elif self.target is not None:
            asm.emit_physics(PhysicsOp.FLOW, site.row(inflow(self.target)), on, rate, 1)
        elif self.source is not None:
            asm.emit_physics(PhysicsOp.FLOW, site.row(inflow(self.source)), on, rate, -1)

    def permit(self, site: Site) -> None:
        on = site.running(self)
        if self.source is not None:
            site.may_fall(f"{self.source}.level", on)
        if self.target is not None:
            site.may_rise(f"{self.target}.level", on)

    def write_c(self, code: CCode) -> None:
        if self.source is not None and self.target is not None:
            raise ValueError(f"{self.name} can't be written as straight-line C.")
        rate = self.rate if self.target else -self.rate
        code.drive.append(
            f"flow_{self.target or self.source} += {code.running(self)} ? {rate!r} : 0.0;"
        )
