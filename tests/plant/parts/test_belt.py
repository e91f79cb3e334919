"""A belt: it carries the items whose front is on it, and runs up and down."""

from dataclasses import replace

import pytest
from hypothesis import strategies as st

from server.plant.parts.belt import Belt
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.physics import PhysicsOp
from tests.plant.line_rig import LINE, fronts, put, running
from tests.plant.plain_physics import Lane, PlainOp, line, on, place, size

SAMPLE = replace(
    LINE,
    belts=(
        Belt("first", "M-301", 1.0, 0.5, "motor", run_up=0.3, label="First belt"),
        Belt("second", "M-302", 1.5, 0.4, label="Second belt"),
    ),
    feeder=Feeder(1.0),
    eyes=(Eye("YS-301", 0.9),),
)


def ramp(lane: Lane, speed: int, on: int, full: int, step: int) -> None:
    change = lane.p[step] if lane.bits[on] else -lane.p[step]
    lane.q[speed] = min(max(lane.q[speed] + change, 0.0), lane.p[full])


def carry(lane: Lane, base: int, slots: int, speed: int, begin: int, end: int, dt: int) -> None:
    items = lane.items(base, slots)
    for item in items:
        if lane.p[begin] <= item[0] < lane.p[end]:
            item[2] += lane.q[speed] * lane.p[dt]
    lane.put(base, slots, items)


PLAIN = {
    PhysicsOp.RAMP: PlainOp(ramp, st.builds(lambda o, f, s: (6, o, f, s), on, size, size)),
    PhysicsOp.CARRY: PlainOp(
        carry, st.builds(lambda b, e, d: (*line, 6, b, e, d), place, place, size)
    ),
}


def test_drive_runs_up_and_down() -> None:
    # From 0 to v in t: v t/2 of way (closed form), within one scan's step
    plant = replace(LINE, belts=(replace(LINE.belts[0], run_up=0.5),))
    rig = running(plant)
    put(rig, 0.5)
    rig.run(50)
    assert rig.value("belt.speed") == pytest.approx(0.25)
    assert fronts(rig)[0] == pytest.approx(0.5 + 0.25 * 0.5 / 2, abs=0.0026)
    rig.turn("motor", False)
    rig.run(60)
    assert rig.value("belt.speed") == 0.0
    at_rest = fronts(rig)
    rig.run(10)
    assert fronts(rig) == at_rest


def test_belts_move_the_items_whose_front_is_on_them() -> None:
    belts = (
        Belt("first", "M-301", 1.0, 0.2, "motor_1", label="first"),
        Belt("second", "M-302", 2.0, 0.4, "drive_2", label="second"),
    )
    rig = running(replace(LINE, belts=belts))
    put(rig, 0.9, 0.5)
    rig.run(100)
    assert fronts(rig) == pytest.approx([1.0, 0.7], abs=0.005), "the second belt stands"
    rig.turn("drive_2", True)
    rig.run(100)
    assert fronts(rig) == pytest.approx([1.4, 0.9], abs=0.005)
