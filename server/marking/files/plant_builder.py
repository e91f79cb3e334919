"""From the form of a plant to the plant; what does not fit together is noted with its place."""

from collections.abc import Sequence
from typing import Protocol, TypeVar

from server.marking.files.document import Document, FieldPath
from server.marking.files.plant_schema import ConveyorPart, PlantPart, TankPart
from server.plant.model import ConveyorPlant, Plant, TankPlant

Built = TypeVar("Built")
Built_co = TypeVar("Built_co", covariant=True)


class _Buildable(Protocol[Built_co]):
    def build(self) -> Built_co: ...


class PlantBuilder:
    """Builds the plant at ``path`` of a document."""

    def __init__(self, document: Document, path: FieldPath) -> None:
        self._document = document
        self._path = path

    def plant(self, part: PlantPart) -> Plant | None:
        """The plant, or None when a part of it is faulty."""
        before = len(self._document.faults)
        try:
            match part:
                case PlantPart(tank=TankPart() as tank, conveyor=None):
                    self._path = (*self._path, "tank")
                    return self._tank(tank)
                case PlantPart(tank=None, conveyor=ConveyorPart() as conveyor):
                    self._path = (*self._path, "conveyor")
                    return self._conveyor(conveyor)
        except ValueError as fault:
            # A faulty part is left out of the whole, which then complains about its absence.
            if len(self._document.faults) == before:
                self._document.fault(self._path, str(fault))
            return None
        self._document.fault(self._path, "A plant is either a 'tank' or a 'conveyor'.")
        return None

    def _tank(self, part: TankPart) -> TankPlant:
        return TankPlant(
            vessels=self._each("vessels", part.vessels),
            streams=self._each("streams", part.streams),
            outlets=self._each("outlets", part.outlets),
            switches=self._each("level switches", part.level_switches),
            transmitters=self._each("level transmitters", part.level_transmitters),
            axes=self._each("axes", part.axes),
            positions=self._each("position switches", part.position_switches),
        )

    def _conveyor(self, part: ConveyorPart) -> ConveyorPlant:
        return ConveyorPlant(
            name=part.name,
            belts=self._each("belts", part.belts),
            item_length=part.items.length,
            gap=part.items.gap,
            item=part.items.name,
            mark=part.items.mark,
            feeder=None if part.feeder is None else part.feeder.build(),
            eyes=self._each("eyes", part.eyes),
            stops=self._each("stops", part.stops),
            pushers=self._each("pushers", part.pushers),
            axes=self._each("axes", part.axes),
            positions=self._each("position switches", part.position_switches),
        )

    def _each(self, key: str, parts: Sequence[_Buildable[Built]]) -> tuple[Built, ...]:
        built: list[Built] = []
        for number, part in enumerate(parts):
            try:
                built.append(part.build())
            except ValueError as fault:
                self._document.fault((*self._path, key, number), str(fault))
        return tuple(built)
