"""One way in: the step of any plant in a machine."""

from collections.abc import Collection, Mapping
from typing import TypeAlias

from server.plant.conveyor import ConveyorStep
from server.plant.model import ConveyorPlant, Plant
from server.plant.tank import TankStep
from server.scan.assembler import Assembler

PlantStep: TypeAlias = TankStep | ConveyorStep


def plant_step(
    plant: Plant,
    asm: Assembler,
    *,
    abstract: bool = False,
    edges: Mapping[str, Collection[int]] | None = None,
) -> PlantStep:
    """Allocate a plant in a machine: its senses and gauges, then ``emit`` its step.

    ``edges``: see ``TankStep``.

    Raises ValueError with a sentence where the plant is too fast for the scan period.
    """
    if isinstance(plant, ConveyorPlant):
        return ConveyorStep(plant, asm, abstract=abstract)
    return TankStep(plant, asm, abstract=abstract, edges=edges)
