"""A line: items travel, queue, find room and leave; against worked examples and simpy."""

from dataclasses import replace
from itertools import pairwise
from math import inf

import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st

from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.physics import PhysicsOp
from server.plant.plant import Plant
from tests.plant.line_rig import LINE, fronts, put, running
from tests.plant.plain_physics import Lane, PlainOp, line, place
from tests.plant.rig import Rig

INCH = 0.0254
SAMPLE = replace(LINE, feeder=Feeder(1.5, 2), eyes=(Eye("YS-301", 1.0), Eye("YS-302", 2.0)))


def settle(lane: Lane, base: int, slots: int, pitch: int) -> None:
    items = lane.items(base, slots)
    free = inf
    for item in items:
        item[0] = item[2] = max(item[0], min(item[2], free))
        free = item[0] - lane.p[pitch]
    lane.put(base, slots, items)


def leave(lane: Lane, base: int, slots: int, end: int, good: int, marked: int) -> None:
    items = lane.items(base, slots)
    if items and items[0][0] >= lane.p[end]:
        lane.q[marked if items[0][1] else good] += 1
        lane.put(base, slots, items[1:])


PLAIN = {
    PhysicsOp.SETTLE: PlainOp(settle, st.just((*line, 20))),
    PhysicsOp.LEAVE: PlainOp(leave, st.builds(lambda e: (*line, e, 8, 9), place)),
}


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
    belt = Belt("belt", "M-301", 2.0, speed, "motor", label="belt")
    plant = Plant(line=ConveyorLine("bottles", length, gap=gap), belts=(belt,), feeder=Feeder(0.02))
    rig = running(plant, period_ms=20)
    rig.run(3000)
    before = rig.value("bottles.passed")
    rig.run(10 * 60 * 50)
    assert 6 * (rig.value("bottles.passed") - before) == pytest.approx(per_hour, abs=13)


@pytest.mark.parametrize("order", [1, -1])
def test_items_find_room_one_pitch_apart(order: int) -> None:
    # 1.9 - 1.6 is less than 0.3 in floating point, and so are others of these
    places = [round(0.3 * number + 0.1, 1) for number in range(1, 10)][::order]
    assert min(b - a for a, b in pairwise(sorted(places))) < 0.3
    rig = running(LINE)
    put(rig, *places)
    assert fronts(rig) == sorted(places, reverse=True)


def test_exit_can_be_blocked() -> None:
    rig = running(LINE)
    put(rig, 2.8, 2.0)
    rig.turn("panel.exit_blocked", True)
    rig.run(2000)
    assert fronts(rig) == [3.0, 2.7]
    rig.turn("panel.exit_blocked", False)
    rig.run(121)
    assert rig.value("bottles.passed") == 1


def test_items_too_fast_for_the_scan_are_refused() -> None:
    plant = replace(LINE, belts=(Belt("belt", "M-301", 3.0, 4.0, label="belt"),))
    with pytest.raises(ValueError, match="an eye may miss one"):
        Rig(plant, period_ms=100)
