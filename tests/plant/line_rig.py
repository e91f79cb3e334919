"""A line with items on it: the plant that the tests of conveyor parts begin with."""

from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.physics import ABSENT, insert_item
from server.plant.plant import Plant
from tests.plant.rig import Rig

LINE = Plant(
    line=ConveyorLine("bottles", 0.3),
    belts=(Belt("belt", "M-301", 3.0, 0.25, "motor", label="belt"),),
)


def running(plant: Plant, period_ms: int = 10) -> Rig:
    rig = Rig(plant, period_ms)
    for name in rig.actuators:
        rig.turn(name, "motor" in name)
    return rig


def put(rig: Rig, *fronts: float, marked: bool = False) -> None:
    items = rig.items
    for front in fronts:
        for lane in range(64):
            assert insert_item(
                rig.quantities, items.base, items.slots, items.track.room, lane, front, int(marked)
            )


def fronts(rig: Rig) -> list[float]:
    items = rig.items
    rows = rig.quantities[items.base : items.base + items.slots, 0].tolist()
    return [round(front, 6) for front in rows if front > ABSENT]
