"""The step of any plant: which class carries out which plant."""

from typing import TypeAlias

from server.plant.model import Plant, TankPlant
from server.plant.tank import TankStep
from server.scan.assembler import Assembler

PlantStep: TypeAlias = TankStep


def plant_step(plant: Plant, asm: Assembler, *, abstract: bool) -> PlantStep:
    """The step of ``plant`` in a machine that is being assembled."""
    assert isinstance(plant, TankPlant)
    return TankStep(plant, asm, abstract=abstract)
