"""A position switch: actuated in its window."""

from server.plant.parts.position_switch import PositionSwitch
from server.plant.plant import Plant
from tests.plant.parts.test_axis import TURNTABLE
from tests.plant.rig import Rig

SAMPLE = Plant(axes=TURNTABLE.axes, position_switches=(PositionSwitch("ZS-306", "table", 50, 20),))


def test_it_is_actuated_within_its_width() -> None:
    rig = Rig(SAMPLE)
    seen = []
    for position in (39.9, 40.0, 50.0, 60.0, 60.1):
        rig.set("table.position", position)
        seen.append(rig.sensed("ZS-306"))
    assert seen == [0, 1, 1, 1, 0]
