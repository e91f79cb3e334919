"""A stream: it fills in its time, and moves no more than there is."""

from math import pi

import pytest
from hypothesis import strategies as st

from server.plant.parts.outlet import Outlet
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.physics import PhysicsOp
from server.plant.plant import Plant
from tests.plant.plain_physics import Lane, PlainOp, on, size, vessel
from tests.plant.rig import Rig

SAMPLE = Plant(
    vessels=(
        Vessel("upper", 0.1, 1.0, 0.6, label="Upper tank"),
        Vessel("lower", 0.1, 1.0, 0.1, label="Lower tank"),
    ),
    streams=(
        Stream("lift", "P-102", 0.02, "lower", "upper", "lift_pump", label="Lift"),
        Stream("supply", "XV-103", 0.01, None, "lower", label="Town water"),
        Stream("use", "P-104", 0.01, "upper", None, "use_pump", label="Use"),
    ),
)

TRANSFER = Plant(
    vessels=(
        Vessel("upper", 0.4, 1.0, 0.6, label="upper"),
        Vessel("lower", 0.8, 1.0, 0.1, label="lower"),
    ),
    streams=(Stream("lift", "P-102", 0.004, "lower", "upper", "lift_pump", label="lift"),),
    outlets=(
        Outlet(
            "fall", "LV-101", "upper", 0.04, target="lower", actuator="fall_valve", label="fall"
        ),
    ),
)


def pump(lane: Lane, source: int, target: int, on: int, rate: int, level: int, area: int) -> None:
    if lane.bits[on]:
        held = max(lane.q[level] * lane.p[area] + lane.q[source], 0.0)
        moved = min(lane.p[rate], held)
        lane.q[source] -= moved
        lane.q[target] += moved


PLAIN = {
    PhysicsOp.PUMP: PlainOp(
        pump, st.builds(lambda v, o, r, a: (2 + v, 3 - v, o, r, v, a), vessel, on, size, size)
    )
}


def test_fills_in_the_computed_time() -> None:
    # 1 m in a tank of D 2 m at 10 l/s: V/q = pi/0.01 = 314.16 s
    vessel = Vessel("tank", pi * 2.0**2 / 4, 2.0, label="tank")
    supply = Stream("supply", "P-101", 0.010, None, "tank", label="supply")
    rig = Rig(Plant(vessels=(vessel,), streams=(supply,)), period_ms=20)
    rig.run(15_708)
    assert rig.value("tank.level") == pytest.approx(1.0, abs=1e-5)


def test_nothing_is_lost_between_vessels() -> None:
    rig = Rig(TRANSFER)
    before = 0.4 * rig.value("upper.level") + 0.8 * rig.value("lower.level")
    for fall, lift in ((True, False), (False, True), (True, True)):
        rig.turn("fall_valve", fall)
        rig.turn("lift_pump", lift)
        rig.run(3000)
        after = 0.4 * rig.value("upper.level") + 0.8 * rig.value("lower.level")
        assert after == pytest.approx(before, abs=1e-9)


def test_a_pump_moves_no_more_than_there_is() -> None:
    rig = Rig(TRANSFER)
    rig.set("upper.level", 0.0)
    rig.set("lower.level", 0.001)
    rig.turn("lift_pump", True)
    rig.run(1000)
    assert rig.value("lower.level") == 0.0
    assert rig.value("upper.level") == pytest.approx(0.002, abs=1e-12)


def test_a_still_vessel_keeps_its_level_exactly() -> None:
    rig = Rig(TRANSFER)
    rig.run(10_000)
    assert rig.value("upper.level") == 0.6
    assert rig.value("lower.level") == 0.1
