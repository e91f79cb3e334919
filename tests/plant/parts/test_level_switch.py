"""A level switch: covered, and dropped out below its hysteresis."""

from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.level_transmitter import LevelTransmitter
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant
from tests.plant.rig import Rig

WATCHED = Plant(
    vessels=(Vessel("tank", 0.1, 1.0, 0.45, label="tank"),),
    streams=(
        Stream("fill", "P-101", 0.001, None, "tank", "fill_pump", label="fill"),
        Stream("draw", "P-102", 0.001, "tank", None, "draw_pump", label="draw"),
    ),
    level_switches=(LevelSwitch("LSL-101", "tank", 0.5, 0.02), LevelSwitch("LSH-101", "tank", 0.8)),
    level_transmitters=(LevelTransmitter("LT-101", "tank"),),
)

SAMPLE = WATCHED


def test_level_switch_has_hysteresis() -> None:
    # 10 mm a second. Covered from 0.50 m, dropped out below 0.48 m.
    rig = Rig(WATCHED, thresholds=[("tank.level", 0.45)])
    assert not rig.sensed("LSL-101")
    rig.turn("fill_pump", True)
    rig.run(510)
    assert rig.sensed("LSL-101")
    rig.turn("fill_pump", False)
    rig.turn("draw_pump", True)
    rig.run(200)
    assert 0.48 < rig.value("tank.level") < 0.5
    assert rig.sensed("LSL-101")
    rig.run(20)
    assert not rig.sensed("LSL-101")
    assert not rig.sensed("LSH-101")


def test_threshold_on_its_edge() -> None:
    rig = Rig(WATCHED, thresholds=[("tank.level", 0.5), ("tank.level", 0.0), ("tank.level", 1.5)])
    planes = [rig.asked["tank.level", value] for value in (0.5, 0.0, 1.5)]
    rig.set("tank.level", 0.5)
    assert [rig.plane(p) for p in planes] == [1, 1, 0]
    rig.set("tank.level", 0.4999)
    assert [rig.plane(p) for p in planes] == [0, 1, 0]
