"""A stop: items queue before it, and what is past it goes on."""

from dataclasses import replace

import pytest
from hypothesis import strategies as st

from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.stop import Stop
from server.plant.physics import PhysicsOp
from tests.plant.line_rig import LINE, fronts, put, running
from tests.plant.parts.test_axis import TURNTABLE
from tests.plant.plain_physics import Lane, PlainOp, line, on, place

SAMPLE = replace(
    LINE,
    feeder=Feeder(1.0),
    eyes=(Eye("YS-301", 1.0),),
    stops=(Stop("gate", "YV-301", 1.5, "gate_valve", label="Gate"),),
)


def hold(lane: Lane, base: int, slots: int, on: int, at: int) -> None:
    items = lane.items(base, slots)
    for item in items:
        if lane.bits[on] and item[0] <= lane.p[at]:
            item[2] = min(item[2], lane.p[at])
    lane.put(base, slots, items)


PLAIN = {PhysicsOp.HOLD: PlainOp(hold, st.builds(lambda o, a: (*line, o, a), on, place))}


def test_queue_before_a_stop_fills_the_length_of_its_items() -> None:
    # n items of length l fill n l (accumulation: from memory)
    plant = replace(LINE, stops=(Stop("gate", "YV-301", 2.0, "gate_valve", label="gate"),))
    rig = running(plant)
    put(rig, 1.6, 1.0, 0.5)
    rig.turn("gate_valve", True)
    rig.run(1000)
    assert fronts(rig) == [2.0, 1.7, 1.4]
    rig.turn("gate_valve", False)
    rig.run(40)
    assert fronts(rig) == pytest.approx([2.1, 1.8, 1.5])


def test_each_follower_closes_its_gap_in_gap_over_speed() -> None:
    # (accumulation: from memory)
    rig = running(replace(LINE, stops=(Stop("gate", "YV-301", 2.0, "gate_valve", label="gate"),)))
    put(rig, 2.0, 1.5)
    rig.turn("gate_valve", True)
    rig.run(79)
    assert fronts(rig)[1] < 1.7
    rig.run(1)
    assert fronts(rig)[1] == 1.7, "a gap of 0.2 m at 0.25 m/s"


def test_a_stop_lets_go_what_is_past_it() -> None:
    rig = running(replace(LINE, stops=(Stop("gate", "YV-301", 1.0, "gate_valve", label="gate"),)))
    put(rig, 1.01)
    rig.turn("gate_valve", True)
    rig.run(100)
    assert fronts(rig) == [1.26]


def test_a_position_switch_can_work_a_stop() -> None:
    rig = running(
        replace(
            LINE,
            stops=(Stop("edge", "ZV-305", 1.0, "ZS-305", holds_when=False, label="Edge"),),
            axes=TURNTABLE.axes,
            position_switches=TURNTABLE.position_switches,
        )
    )
    put(rig, 0.9)
    rig.run(100)
    assert fronts(rig) == [1.0]
    rig.turn("turn_out", True)
    rig.run(300)
    assert fronts(rig)[0] > 1.2
