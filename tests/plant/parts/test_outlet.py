"""An outlet against the closed form, published worked examples and scipy's solver."""

from dataclasses import replace
from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from server.plant.parts.outlet import GRAVITY, Outlet
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant
from tests.plant.rig import Rig

FOOT, INCH = 0.3048, 0.0254

SAMPLE = Plant(
    vessels=(
        Vessel("upper", 0.1, 1.0, 0.6, label="Upper tank"),
        Vessel("lower", 0.2, 1.0, 0.1, label="Lower tank"),
    ),
    outlets=(
        Outlet("fall", "LV-101", "upper", 0.1, target="lower", actuator="valve", label="Fall"),
        Outlet("drain", "LV-102", "lower", 0.05, label="Drain"),
    ),
)


def draining(area: float, diameter: float, cd: float, start: float, g: float) -> Plant:
    """One vessel that drains; another gravity goes into the discharge coefficient."""
    discharge = cd * sqrt(g / GRAVITY)
    return Plant(
        vessels=(Vessel("tank", area, 2 * start, start, label="tank"),),
        outlets=(Outlet("drain", "LV-101", "tank", diameter, discharge, label="drain"),),
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


def test_settles_where_the_outflow_equals_the_inflow() -> None:
    # q 5 l/s, d 50 mm, Cd 0.62: h = (q/(Cd a))²/2g = 0.8598 m with g 9.81
    # (balance: Kantor, CBE30338 'Gravity Drained Tank')
    drained = draining(0.2, 0.05, 0.62, 0.5, 9.81)
    plant = replace(
        drained, streams=(Stream("supply", "P-1", 0.005, None, "tank", label="supply"),)
    )
    plant = replace(plant, vessels=(Vessel("tank", 0.2, 2.0, 0.5, label="tank"),))
    rig = Rig(plant, period_ms=100)
    rig.run(10_000)
    assert rig.value("tank.level") == pytest.approx(0.8598, abs=5e-5)


levels = st.floats(0.05, 1.5)


@settings(deadline=None, max_examples=25)
@given(levels, st.floats(0.1, 2.0), st.floats(0.01, 0.08), st.floats(0.0, 0.01))
def test_agrees_with_scipy(start: float, area: float, diameter: float, rate: float) -> None:
    outlet = Outlet("drain", "LV-101", "tank", diameter, label="drain")
    supply = Stream("supply", "P-101", rate + 1e-6, None, "tank", label="supply")
    rig = Rig(
        Plant(
            vessels=(Vessel("tank", area, 20.0, start, label="tank"),),
            streams=(supply,),
            outlets=(outlet,),
        )
    )
    rig.run(500)
    solved = solve_ivp(
        lambda _, h: (supply.rate - outlet.drain * sqrt(max(h[0], 0.0))) / area,
        (0, 5), [start], rtol=1e-9, atol=1e-11,
    )  # fmt: skip
    assert rig.value("tank.level") == pytest.approx(solved.y[0, -1], rel=1e-3, abs=1e-4)
