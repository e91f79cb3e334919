"""An auxiliary contact: it tells whether the contactor of a motor has picked up."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.plant.device_kind import contact
from server.plant.fields import Line, MotorName
from server.plant.part import Part
from server.plant.parts_view import Parts
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.scan.assembler import Bit


@dataclass(frozen=True, slots=True)
class AuxiliaryContact(Part):
    """Actuated while the contactor of ``motor`` is picked up, welded or not."""

    noun = "auxiliary contact"
    senses = contact(noun, ("YS",), "while the contactor is picked up")

    tag: Line
    motor: MotorName

    def controls(self, parts: Parts) -> tuple[()]:
        return ()

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        """Say nothing: its motor does."""
        return ""

    def draw(self, sheet: PlantSheet) -> None:
        """Draw nothing: its motor does."""

    def allocate(self, site: Site) -> None:
        """Make what its motor moves."""
        site.senses[self.tag] = Bit(site.asm.bit())
