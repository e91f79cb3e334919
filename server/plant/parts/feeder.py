"""A feeder: it lays items down at the infeed, where and when there is room."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from server.plant.checks import require, require_positive
from server.plant.controls import HandSwitch
from server.plant.fields import Count, OnOff, Seconds
from server.plant.part import Part
from server.plant.parts_view import Parts, track_of
from server.plant.physics import PhysicsOp
from server.plant.sheet.line import LEFT
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site

CONTROL = "feeder"


@dataclass(frozen=True, slots=True)
class Feeder(Part):
    """Lays an item down every ``interval`` s where there is room; every n-th one is marked."""

    noun = "feeder"

    interval: Seconds
    marked_every: Count = 0
    on_at_start: Annotated[OnOff, Field(alias="at start")] = True

    def __post_init__(self) -> None:
        require_positive("The feeder", interval=self.interval)
        require(self.marked_every >= 0, "The feeder marks every n-th item; n is 0 or more.")

    def check(self, parts: Parts) -> None:
        require(parts.track is not None, "The feeder feeds nothing. Add 'line' with its items.")

    def controls(self, parts: Parts) -> tuple[HandSwitch, ...]:
        start = self.on_at_start
        return (HandSwitch(CONTROL, "Feeder", "", start, on="feeding", off="stopped"),)

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        """Say nothing: it is no device that a program knows."""
        return ""

    def draw(self, sheet: PlantSheet) -> None:
        area = sheet.line

        def infeed() -> None:
            pen, middle, start = area.pen, area.middle, LEFT - 14
            pen.open("flow", f"panel.{CONTROL}", self.on_at_start)
            pen.line(start - 56, middle, start - 6, middle, "pipe")
            pen.arrow(start, middle, "right")
            pen.close()
            pen.text(start - 32, middle - 14, "infeed", "note")
            pen.value(start - 32, middle + 24, f"{area.track.name}.fed", "0", digits=0)

        area.add_on_belts(infeed)

    def exchange(self, site: Site) -> None:
        asm, track = site.asm, track_of(site.parts)
        scans = max(1, round(self.interval / site.period))
        # FEED reads four parameters in a row.
        first = asm.parameter("feeder.length", track.item_length)
        asm.parameter("feeder.pitch", track.room)
        asm.parameter("feeder.scans", scans)
        asm.parameter("feeder.every", self.marked_every)
        since, fed = asm.quantity(scans), site.row(f"{track.name}.fed")
        on = site.hand(CONTROL)
        asm.emit_physics(PhysicsOp.FEED, *site.item_rows, on, first, since, fed)

    def permit(self, site: Site) -> None:
        site.may_rise(f"{track_of(site.parts).name}.fed", site.hand(CONTROL))
