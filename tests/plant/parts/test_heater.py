"""A heater: the temperature that heat, losses and cold water bring about."""

from dataclasses import replace
from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.plant.parts.heater import BOILING, HEAT_CAPACITY, Heater
from server.plant.parts.outlet import Outlet
from server.plant.parts.stream import Stream
from server.plant.parts.temperature_switch import TemperatureSwitch
from server.plant.parts.vessel import Vessel
from server.plant.physics import PhysicsOp
from server.plant.plant import Plant
from tests.plant.paths import check_paths
from tests.plant.plain_physics import Lane, PlainOp
from tests.plant.rig import Rig

TANK = Vessel("tank", 0.2, 1.0, 0.5, label="Wash tank")
COIL = Heater("coil", "E-524", "tank", 30_000, 400, actuator="heater", label="Heating coil")
SAMPLE = Plant(
    vessels=(TANK,),
    streams=(Stream("fill", "P-521", 0.002, None, "tank", "fill_pump", label="Fresh water"),),
    outlets=(Outlet("drain", "LV-522", "tank", 0.02, actuator="drain_valve", label="Drain"),),
    heaters=(COIL,),
    temperature_switches=(TemperatureSwitch("TSH-525", "tank", 22.0, 1.0),),
)
STILL = replace(SAMPLE, streams=(), outlets=())


def warm(lane: Lane, row: int, heat: int, cold: int, level: int, first: int) -> None:
    loss, outside, top, least = lane.p[first : first + 4]
    height = max(lane.q[level], least)
    above = lane.q[row] - outside + lane.q[heat] / height
    above = above / (1.0 + (loss + lane.q[cold]) / height)
    lane.q[row] = min(outside + max(above, 0.0), top)
    lane.q[heat] = lane.q[cold] = 0.0


PLAIN = {
    PhysicsOp.WARM: PlainOp(
        warm, st.builds(lambda level, first: (7, 2, 3, level, first), st.integers(0, 1),
                        st.integers(4, 8))
    )
}  # fmt: skip


def test_it_warms_the_water_as_its_energy_does() -> None:
    # 30 kW into 0.1 m³ without losses: P t / (c V), the closed form.
    rig = Rig(replace(STILL, heaters=(replace(COIL, losses=0),)))
    rig.turn("heater", True)
    rig.run(6000)
    assert rig.value("tank.temperature") == pytest.approx(
        20 + 30_000 * 60 / (HEAT_CAPACITY * 0.1), abs=1e-6
    )
    assert rig.sensed("TSH-525")


def test_it_tends_to_where_losses_are_as_large_as_its_power() -> None:
    # T - Ta = P/U (1 - exp(-U t / (c V))), the closed form.
    rig = Rig(STILL)
    rig.turn("heater", True)
    rig.run(30_000)
    share = 1 - exp(-400 * 300 / (HEAT_CAPACITY * 0.1))
    assert rig.value("tank.temperature") == pytest.approx(20 + 75 * share, abs=0.01)


def test_cold_water_is_mixed_in() -> None:
    # 0.1 m³ at 60 °C and 0.02 m³ at 20 °C, losses left out: energies add up.
    rig = Rig(replace(SAMPLE, heaters=(replace(COIL, losses=0),)))
    rig.set("tank.temperature", 60.0)
    rig.turn("fill_pump", True)
    rig.run(1000)
    assert rig.value("tank.level") == pytest.approx(0.6)
    assert rig.value("tank.temperature") == pytest.approx((60 * 0.1 + 20 * 0.02) / 0.12, abs=0.02)


def test_an_empty_vessel_boils_and_cools_within_its_range() -> None:
    rig = Rig(replace(STILL, heaters=(replace(COIL, power=100_000),)))
    rig.set("tank.level", 0.0)
    rig.turn("heater", True)
    rig.run(20_000)
    assert rig.value("tank.temperature") == BOILING
    rig.turn("heater", False)
    rig.run(40_000)
    assert 20 <= rig.value("tank.temperature") < 40


def test_only_cold_water_from_outside_may_flow_in() -> None:
    other = Vessel("other", 0.2, 1.0, label="Other")
    for lists in (
        {"streams": (Stream("over", "P-9", 0.001, "other", "tank", "p", label="over"),)},
        {"outlets": (Outlet("over", "LV-9", "other", 0.02, target="tank", label="over"),)},
    ):
        with pytest.raises(ValueError, match="only cold water from outside"):
            Plant(vessels=(other, TANK), heaters=(COIL,), **lists)
    with pytest.raises(ValueError, match="a vessel has one heater"):
        replace(STILL, heaters=(COIL, replace(COIL, name="second", tag="E-9")))
    with pytest.raises(ValueError, match="colder than its surroundings"):
        replace(COIL, start=10.0)


@settings(deadline=None, max_examples=15)
@given(
    st.floats(100, 1e6), st.floats(0, 5000), st.floats(23, 99), st.floats(0.01, 1),
    st.integers(0, 2**32),
)  # fmt: skip
def test_runs_are_paths_of_the_abstract_step(
    power: float, losses: float, at: float, hysteresis: float, seed: int
) -> None:
    plant = replace(
        SAMPLE,
        heaters=(replace(COIL, power=power, losses=losses),),
        temperature_switches=(TemperatureSwitch("TSH-525", "tank", at, hysteresis),),
    )
    check_paths(plant, [("tank.temperature", at - hysteresis / 2)], seed, scans=30)
