"""A vessel: it keeps what flows in, spills what is too much, and drains by its outlets."""

from math import sqrt

import numpy as np
from hypothesis import strategies as st

from server.plant.parts.outlet import Outlet
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.physics import PhysicsOp
from server.plant.plant import Plant
from tests.plant.plain_physics import Lane, PlainOp, size, vessel
from tests.plant.rig import Rig

SAMPLE = Plant(
    vessels=(Vessel("tank", 0.1, 1.0, 0.4, label="Tank"),),
    streams=(Stream("fill", "P-101", 0.02, None, "tank", "fill_pump", label="Fill"),),
    outlets=(Outlet("drain", "LV-101", "tank", 0.1, actuator="drain_valve", label="Drain"),),
)


def tank(lane: Lane, level: int, flow: int, drain: int, half: int, top: int, target: int) -> None:
    added = lane.q[flow] * lane.p[half]
    h = max(lane.q[level] + added, 0.0)
    root = sqrt(h)
    fall = min(lane.q[drain] * lane.p[half], root)
    drained = min(fall * (2 * root - fall), h)
    lane.q[level] = min(max(h - drained + added, 0.0), lane.p[top])
    lane.q[flow] = lane.q[drain] = 0.0
    if target >= 0:
        lane.q[target] += drained / (2 * lane.p[half])


PLAIN = {
    PhysicsOp.TANK: PlainOp(
        tank,
        st.builds(
            lambda v, h, t: (v, 2 + v, 4 + v, h, 21, 3 - v if t else -1),
            vessel,
            size,
            st.booleans(),
        ),
    )
}


def test_a_full_vessel_spills() -> None:
    rig = Rig(
        Plant(
            vessels=(Vessel("tank", 0.1, 0.5, label="tank"),),
            streams=(Stream("supply", "P-1", 0.01, None, "tank", label="supply"),),
        )
    )
    rig.run(1000)
    assert rig.value("tank.level") == 0.5
    rig.turn("panel.supply", False)
    rig.run(100)
    assert rig.value("tank.level") == 0.5


def test_lanes_are_apart() -> None:
    rig = Rig(SAMPLE)
    rig.turn("fill_pump", True, np.uint64(0b101))
    rig.run(10)
    levels = [round(rig.value("tank.level", lane), 3) for lane in range(4)]
    assert levels == [0.42, 0.4, 0.42, 0.4]
