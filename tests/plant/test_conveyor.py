"""Conveyors against worked examples and simpy, and what each part does."""

from dataclasses import replace
from itertools import pairwise

import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st

from server.plant.conveyor import ConveyorStep
from server.plant.model import (
    Axis,
    Belt,
    ConveyorPlant,
    Eye,
    Feeder,
    PositionSwitch,
    Pusher,
    Stop,
)
from server.plant.physics import ABSENT, insert_item
from tests.plant.rig import Rig

INCH = 0.0254
LINE = ConveyorPlant("bottles", (Belt("belt", "M-301", 3.0, 0.25, "motor"),), 0.3)


def running(plant: ConveyorPlant, period_ms: int = 10) -> Rig:
    rig = Rig(plant, period_ms)
    for name in rig.actuators:
        rig.turn(name, "motor" in name)
    return rig


def put(rig: Rig, *fronts: float, marked: bool = False) -> None:
    assert isinstance(rig.step, ConveyorStep)
    line = rig.step.line
    assert line is not None
    for front in fronts:
        for lane in range(64):
            assert insert_item(
                rig.quantities, line.base, line.slots, line.room, lane, front, int(marked)
            )


def fronts(rig: Rig) -> list[float]:
    assert isinstance(rig.step, ConveyorStep)
    line = rig.step.line
    assert line is not None
    rows = rig.quantities[line.base : line.base + line.slots, 0].tolist()
    return [round(front, 6) for front in rows if front > ABSENT]


def exits(rig: Rig, seconds: float) -> list[float]:
    """Times at which items left the line."""
    times = []
    passed = 0.0
    for scan in range(round(1000 * seconds / rig.period_ms)):
        rig.run()
        if rig.value("bottles.passed") > passed:
            passed = rig.value("bottles.passed")
            times.append(scan * rig.period_ms / 1000)
    return times


def test_transit_of_the_worked_example() -> None:
    # L 3 m, v 0.25 m/s, release every 2 s: 12 s transit; exits 12, 14, 16, 18 s
    # (reference-facts.md part 3, computed with simpy)
    rig = running(replace(LINE, feeder=Feeder(2.0)))
    assert exits(rig, 18.5) == [12.0, 14.0, 16.0, 18.0]


@settings(deadline=None, max_examples=15)
@given(st.floats(1.0, 3.0), st.floats(0.1, 0.5), st.integers(100, 400))
def test_release_and_transit_agree_with_simpy(length: float, speed: float, scans: int) -> None:
    interval = max(scans / 100, 0.3 / speed + 0.02)
    interval = round(interval, 2)
    env = simpy.Environment()
    expected: list[float] = []

    def item() -> simpy.events.ProcessGenerator:
        yield env.timeout(length / speed)
        expected.append(env.now)

    def source() -> simpy.events.ProcessGenerator:
        while True:
            env.process(item())
            yield env.timeout(interval)

    env.process(source())
    env.run(until=20.0)
    plant = replace(LINE, belts=(replace(LINE.belts[0], length=length, speed=speed),))
    found = exits(running(replace(plant, feeder=Feeder(interval))), 20.0)
    assert len(found) == pytest.approx(len(expected), abs=1)
    assert found == pytest.approx(expected[: len(found)], abs=0.011)


@pytest.mark.parametrize(
    ("speed", "length", "gap", "per_hour"),
    [
        # Rate = speed/(length + gap): 0.25 m/s, 0.3 + 0.2 m: 30 a minute
        # ('Units per Minute on a Conveyor')
        (0.25, 0.3, 0.2, 1800),
        # 900 parts/h at 10 in pitch: 12.63 ft/min at 99 % (mfgcalcs.com, worked example)
        (0.99 * 12.63 * 12 * INCH / 60, 8 * INCH, 2 * INCH, 900),
        # 420 carriers/h at 24 in: 14.74 ft/min at 95 % (the same site)
        (0.95 * 14.74 * 12 * INCH / 60, 20 * INCH, 4 * INCH, 420),
    ],
)
def test_rate_of_a_densely_fed_belt(
    speed: float, length: float, gap: float, per_hour: float
) -> None:
    belt = Belt("belt", "M-301", 2.0, speed, "motor")
    plant = ConveyorPlant("bottles", (belt,), length, gap, feeder=Feeder(0.02))
    rig = running(plant, period_ms=20)
    rig.run(3000)
    before = rig.value("bottles.passed")
    rig.run(10 * 60 * 50)
    assert 6 * (rig.value("bottles.passed") - before) == pytest.approx(per_hour, abs=13)


def test_queue_before_a_stop_fills_the_length_of_its_items() -> None:
    # n items of length l fill n l (accumulation: from memory)
    plant = replace(LINE, stops=(Stop("gate", "YV-301", 2.0, "gate_valve"),))
    rig = running(plant)
    put(rig, 1.6, 1.0, 0.5)
    rig.turn("gate_valve", True)
    rig.run(1000)
    assert fronts(rig) == [2.0, 1.7, 1.4]
    rig.turn("gate_valve", False)
    rig.run(40)
    assert fronts(rig) == pytest.approx([2.1, 1.8, 1.5])


@pytest.mark.parametrize("order", [1, -1])
def test_items_find_room_one_pitch_apart(order: int) -> None:
    # 1.9 - 1.6 is less than 0.3 in floating point, and so are others of these
    places = [round(0.3 * number + 0.1, 1) for number in range(1, 10)][::order]
    assert min(b - a for a, b in pairwise(sorted(places))) < LINE.pitch
    rig = running(LINE)
    put(rig, *places)
    assert fronts(rig) == sorted(places, reverse=True)


def test_each_follower_closes_its_gap_in_gap_over_speed() -> None:
    # (accumulation: from memory)
    rig = running(replace(LINE, stops=(Stop("gate", "YV-301", 2.0, "gate_valve"),)))
    put(rig, 2.0, 1.5)
    rig.turn("gate_valve", True)
    rig.run(79)
    assert fronts(rig)[1] < 1.7
    rig.run(1)
    assert fronts(rig)[1] == 1.7, "a gap of 0.2 m at 0.25 m/s"


def test_a_stop_lets_go_what_is_past_it() -> None:
    rig = running(replace(LINE, stops=(Stop("gate", "YV-301", 1.0, "gate_valve"),)))
    put(rig, 1.01)
    rig.turn("gate_valve", True)
    rig.run(100)
    assert fronts(rig) == [1.26]


def test_eye_is_blocked_from_front_to_rear_edge() -> None:
    # Front edge at 1.0 m after (1.0 - 0.3)/0.25 = 2.8 s, rear edge 0.3/0.25 = 1.2 s later
    rig = running(replace(LINE, eyes=(Eye("YS-301", 1.0),)))
    put(rig, 0.3)
    blocked = []
    for _ in range(500):
        rig.run()
        blocked.append(rig.sensed("YS-301"))
    first, last = blocked.index(1), 499 - blocked[::-1].index(1)
    assert (first + 1) / 100 == pytest.approx(2.8, abs=0.011)
    assert (last - first + 1) / 100 == pytest.approx(1.2, abs=0.011)
    assert sum(blocked) == last - first + 1, "without a break"


def test_eye_at_a_stop_sees_the_item_that_is_held_there() -> None:
    plant = replace(
        LINE, eyes=(Eye("YS-301", 1.0),), stops=(Stop("gate", "YV-301", 1.0, "gate_valve"),)
    )
    rig = running(plant)
    put(rig, 0.9)
    rig.turn("gate_valve", True)
    rig.run(300)
    assert fronts(rig) == [1.0]
    assert rig.sensed("YS-301")


def test_eye_for_marked_items_sees_no_others() -> None:
    plant = replace(LINE, eyes=(Eye("YS-301", 1.0), Eye("YS-302", 1.0, marked_only=True)))
    rig = running(plant)
    put(rig, 0.9)
    put(rig, 0.4, marked=True)
    seen = set()
    for _ in range(500):
        rig.run()
        seen.add((rig.sensed("YS-301"), rig.sensed("YS-302")))
    assert seen == {(0, 0), (1, 0), (1, 1)}


def test_pusher_takes_the_item_at_its_place_and_counts_it() -> None:
    plant = replace(LINE, pushers=(Pusher("reject", "YV-302", 1.5, "reject_valve"),))
    rig = running(plant)
    put(rig, 2.0, 1.0)
    put(rig, 1.6, marked=True)
    rig.turn("reject_valve", True)
    rig.run()
    assert fronts(rig) == pytest.approx([2.0025, 1.0025])
    assert rig.value("reject.pushed") == 0
    assert rig.value("reject.pushed_marked") == 1
    rig.run(210)
    assert rig.value("reject.pushed") == 1


def test_feeder_marks_every_third_item() -> None:
    rig = running(replace(LINE, feeder=Feeder(1.5, 3)))
    rig.run(3200)
    assert rig.value("bottles.fed") == 22
    assert (rig.value("bottles.passed"), rig.value("bottles.passed_marked")) == (10, 4)


def test_feeder_waits_for_room_and_for_its_control() -> None:
    rig = running(replace(LINE, feeder=Feeder(0.5)))
    rig.run(121)
    assert rig.value("bottles.fed") == 2, "0.3 m at 0.25 m/s take 1.2 s"
    rig.turn("panel.feeder", False)
    rig.run(1000)
    assert rig.value("bottles.fed") == 2


def test_exit_can_be_blocked() -> None:
    rig = running(LINE)
    put(rig, 2.8, 2.0)
    rig.turn("panel.exit_blocked", True)
    rig.run(2000)
    assert fronts(rig) == [3.0, 2.7]
    rig.turn("panel.exit_blocked", False)
    rig.run(121)
    assert rig.value("bottles.passed") == 1


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
        Belt("first", "M-301", 1.0, 0.2, "motor_1"),
        Belt("second", "M-302", 2.0, 0.4, "drive_2"),
    )
    rig = running(replace(LINE, belts=belts))
    put(rig, 0.9, 0.5)
    rig.run(100)
    assert fronts(rig) == pytest.approx([1.0, 0.7], abs=0.005), "the second belt stands"
    rig.turn("drive_2", True)
    rig.run(100)
    assert fronts(rig) == pytest.approx([1.4, 0.9], abs=0.005)


TURNTABLE = replace(
    LINE,
    stops=(Stop("edge", "ZV-305", 1.0, "ZS-305", holds_when=False),),
    axes=(Axis("table", "turn_out", "turn_back", 2.0, 4.0),),
    positions=(PositionSwitch("ZS-304", "table", 0), PositionSwitch("ZS-305", "table", 100)),
)


def test_axis_goes_from_switch_to_switch_in_its_time() -> None:
    rig = running(TURNTABLE)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (1, 0)
    rig.turn("turn_out", True)
    rig.run(100)
    assert rig.value("table.position") == pytest.approx(50)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (0, 0)
    rig.run(100)
    assert rig.value("table.position") == pytest.approx(100)
    assert (rig.sensed("ZS-304"), rig.sensed("ZS-305")) == (0, 1)
    rig.turn("turn_out", False)
    rig.turn("turn_back", True)
    rig.run(200)
    assert rig.value("table.position") == pytest.approx(50)


def test_a_position_switch_can_work_a_stop() -> None:
    rig = running(TURNTABLE)
    put(rig, 0.9)
    rig.run(100)
    assert fronts(rig) == [1.0]
    rig.turn("turn_out", True)
    rig.run(300)
    assert fronts(rig)[0] > 1.2


def test_a_spring_pulls_the_axis_back() -> None:
    axis = Axis("table", "turn_out", None, 1.0, 1.0)
    rig = running(replace(TURNTABLE, axes=(axis,)))
    rig.turn("turn_out", True)
    rig.run(60)
    rig.turn("turn_out", False)
    rig.run(30)
    assert rig.value("table.position") == pytest.approx(30)


def test_items_too_fast_for_the_scan_are_refused() -> None:
    plant = replace(LINE, belts=(Belt("belt", "M-301", 3.0, 4.0),))
    with pytest.raises(ValueError, match="an eye may miss one"):
        Rig(plant, period_ms=100)
