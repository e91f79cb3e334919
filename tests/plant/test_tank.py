"""Tanks against the closed form, published worked examples and scipy's solver."""

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.plant.model import (
    GRAVITY,
    LevelSwitch,
    LevelTransmitter,
    Outlet,
    Stream,
    TankPlant,
    Vessel,
)
from tests.plant.rig import Rig

FOOT, INCH = 0.3048, 0.0254


def draining(area: float, diameter: float, cd: float, start: float, g: float) -> TankPlant:
    """One vessel that drains; another gravity goes into the discharge coefficient."""
    discharge = cd * sqrt(g / GRAVITY)
    return TankPlant(
        (Vessel("tank", area, 2 * start, start),),
        outlets=(Outlet("drain", "LV-101", "tank", diameter, discharge),),
    )


def seconds_until(rig: Rig, level: float, at_most: float) -> float:
    scans = 0
    while rig.value("tank.level") > level and scans * rig.period_ms < 1000 * at_most:
        rig.run()
        scans += 1
    return scans * rig.period_ms / 1000


def circle(diameter: float) -> float:
    return pi * diameter**2 / 4


@pytest.mark.parametrize(
    ("area", "diameter", "cd", "start", "end", "g", "expected"),
    [
        # D 0.16 m, hole r 5 mm, 0.16 m to empty: 46.26 s (byjus.com)
        (circle(0.16), 0.010, 1.0, 0.16, 0.0, 9.8, 46.26),
        # D 4 ft, nozzle 5 in², 6 ft to 2 ft: printed 94 s with rounded steps, exactly 93.38
        # (engineeringprep.com, problem 435)
        (circle(4 * FOOT), sqrt(5 * 4 / pi) * INCH, 1.0, 6 * FOOT, 2 * FOOT, 32.2 * FOOT, 93.38),
        # D 3 ft, jet 0.5 in, 4 ft to 2 ft: 757 s (Çengel & Cimbala, the book's answer from memory)
        (circle(3 * FOOT), 0.5 * INCH, 1.0, 4 * FOOT, 2 * FOOT, 32.2 * FOOT, 756.8),
        # D 4 m, d 0.5 m, Cd 0.6: 5 m to 2 m in 39.58 s, to empty in 107.69 s (Bansal's problem,
        # from memory)
        (circle(4.0), 0.5, 0.6, 5.0, 2.0, 9.81, 39.58),
        (circle(4.0), 0.5, 0.6, 5.0, 0.0, 9.81, 107.69),
    ],
)  # fmt: skip
def test_drains_in_the_published_time(
    area: float, diameter: float, cd: float, start: float, end: float, g: float, expected: float
) -> None:
    rig = Rig(draining(area, diameter, cd, start, g))
    assert seconds_until(rig, end, 2 * expected) == pytest.approx(expected, rel=1e-4, abs=0.025)


def test_large_tank_drains_in_the_published_time() -> None:
    # A 1 m², a 1 cm², 5 m to empty, g 10: 10 000 s (doubts.ai)
    rig = Rig(draining(1.0, sqrt(4e-4 / pi), 1.0, 5.0, 10.0), period_ms=1000)
    assert seconds_until(rig, 0.0, 20_000) == pytest.approx(10_000, abs=1.01)


def test_half_the_height_takes_less_than_a_third_of_the_time() -> None:
    # t ~ sqrt(h1) - sqrt(h2): the whole over the upper half is 1/(1 - 1/sqrt(2)) = 3.414
    # (closed form; reference-facts.md part 3 notes a page that has it wrong)
    plant = draining(0.5, 0.03, 0.62, 1.0, GRAVITY)
    half = seconds_until(Rig(plant), 0.5, 1000)
    whole = seconds_until(Rig(plant), 0.0, 1000)
    assert whole / half == pytest.approx(3.414, rel=1e-3)


def test_fills_in_the_computed_time() -> None:
    # 1 m in a tank of D 2 m at 10 l/s: V/q = pi/0.01 = 314.16 s
    vessel = Vessel("tank", circle(2.0), 2.0)
    supply = Stream("supply", "P-101", 0.010, None, "tank")
    rig = Rig(TankPlant((vessel,), (supply,)), period_ms=20)
    rig.run(15_708)
    assert rig.value("tank.level") == pytest.approx(1.0, abs=1e-5)


def test_settles_where_the_outflow_equals_the_inflow() -> None:
    # q 5 l/s, d 50 mm, Cd 0.62: h = (q/(Cd a))²/2g = 0.8598 m with g 9.81
    # (balance: Kantor, CBE30338 'Gravity Drained Tank')
    drained = draining(0.2, 0.05, 0.62, 0.5, 9.81)
    plant = replace(drained, streams=(Stream("supply", "P-1", 0.005, None, "tank"),))
    plant = replace(plant, vessels=(Vessel("tank", 0.2, 2.0, 0.5),))
    rig = Rig(plant, period_ms=100)
    rig.run(10_000)
    assert rig.value("tank.level") == pytest.approx(0.8598, abs=5e-5)


levels = st.floats(0.05, 1.5)


@settings(deadline=None, max_examples=25)
@given(levels, st.floats(0.1, 2.0), st.floats(0.01, 0.08), st.floats(0.0, 0.01))
def test_agrees_with_scipy(start: float, area: float, diameter: float, rate: float) -> None:
    outlet = Outlet("drain", "LV-101", "tank", diameter)
    supply = Stream("supply", "P-101", rate + 1e-6, None, "tank")
    rig = Rig(TankPlant((Vessel("tank", area, 20.0, start),), (supply,), (outlet,)))
    rig.run(500)
    solved = solve_ivp(
        lambda _, h: (supply.rate - outlet.drain * sqrt(max(h[0], 0.0))) / area,
        (0, 5), [start], rtol=1e-9, atol=1e-11,
    )  # fmt: skip
    assert rig.value("tank.level") == pytest.approx(solved.y[0, -1], rel=1e-3, abs=1e-4)


TRANSFER = TankPlant(
    (Vessel("upper", 0.4, 1.0, 0.6), Vessel("lower", 0.8, 1.0, 0.1)),
    streams=(Stream("lift", "P-102", 0.004, "lower", "upper", "lift_pump"),),
    outlets=(Outlet("fall", "LV-101", "upper", 0.04, target="lower", actuator="fall_valve"),),
)


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


def test_a_full_vessel_spills() -> None:
    rig = Rig(
        TankPlant((Vessel("tank", 0.1, 0.5),), (Stream("supply", "P-1", 0.01, None, "tank"),))
    )
    rig.run(1000)
    assert rig.value("tank.level") == 0.5
    rig.turn("panel.supply", False)
    rig.run(100)
    assert rig.value("tank.level") == 0.5


WATCHED = TankPlant(
    (Vessel("tank", 0.1, 1.0, 0.45),),
    streams=(
        Stream("fill", "P-101", 0.001, None, "tank", "fill_pump"),
        Stream("draw", "P-102", 0.001, "tank", None, "draw_pump"),
    ),
    switches=(LevelSwitch("LSL-101", "tank", 0.5, 0.02), LevelSwitch("LSH-101", "tank", 0.8)),
    transmitters=(LevelTransmitter("LT-101", "tank"),),
)


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


def test_lanes_are_apart() -> None:
    rig = Rig(WATCHED)
    rig.turn("fill_pump", True, np.uint64(0b101))
    rig.run(100)
    levels = [round(rig.value("tank.level", lane), 3) for lane in range(4)]
    assert levels == [0.46, 0.45, 0.46, 0.45]


@pytest.mark.parametrize(
    ("level", "shown"), [(0.0, 0), (0.25, 2500), (0.50004, 5000), (0.50006, 5001), (1.0, 10000)]
)
def test_transmitter_gives_ten_thousandths_of_the_height(level: float, shown: int) -> None:
    rig = Rig(WATCHED)
    rig.set("tank.level", level)
    assert rig.sensed("LT-101") == shown


def test_threshold_on_its_edge() -> None:
    rig = Rig(WATCHED, thresholds=[("tank.level", 0.5), ("tank.level", 0.0), ("tank.level", 1.5)])
    planes = [rig.asked["tank.level", value] for value in (0.5, 0.0, 1.5)]
    rig.set("tank.level", 0.5)
    assert [rig.plane(p) for p in planes] == [1, 1, 0]
    rig.set("tank.level", 0.4999)
    assert [rig.plane(p) for p in planes] == [0, 1, 0]
