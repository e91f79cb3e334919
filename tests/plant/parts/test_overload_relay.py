"""An overload relay: it trips in the times of its class, and stays tripped until it is reset."""

from dataclasses import replace
from math import log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.plant.parts.motor import LOCKED_ROTOR
from server.plant.parts.overload_relay import HOTTEST, RESET, TRIP, OverloadRelay
from server.plant.physics import PhysicsOp
from server.plant.plant import Plant
from tests.plant.parts.test_motor import SAMPLE as MOTOR
from tests.plant.paths import check_paths
from tests.plant.plain_physics import Lane, PlainOp, size
from tests.plant.rig import Rig

SAMPLE = MOTOR
SCANS = 100
"""Scans in a second."""


def lag(lane: Lane, row: int, target: int, share: int, scale: int, low: int, high: int) -> None:
    away = lane.q[target] * lane.p[scale] - lane.q[row]
    moved = lane.q[row] + away * lane.p[share]
    lane.q[row] = min(max(moved, lane.p[low]), lane.p[high])
    lane.q[target] = 0.0


PLAIN = {
    PhysicsOp.LAG: PlainOp(
        lag, st.builds(lambda t, s, c: (7, t, s, c, 22, 21), st.integers(2, 5), size, size)
    )
}


def loaded(times: float, trip_class: int = 10, heat: float = 0.0) -> Rig:
    """A motor at full speed that draws so many times its rated current, from ``heat`` on."""
    relay = OverloadRelay("ISH-513", "auger", trip_class)
    motor = replace(MOTOR.motors[0], run_up=0.0, load=100 * times)
    rig = Rig(Plant(motors=(motor,), overload_relays=(relay,)))
    rig.turn("auger_motor", True)
    rig.run()
    rig.set("auger.heat", heat)
    return rig


def trips_within(rig: Rig, seconds: float) -> float | None:
    for scan in range(int(seconds * SCANS)):
        if rig.sensed("ISH-513"):
            return scan / SCANS
        rig.run()
    return None


@pytest.mark.parametrize(("trip_class", "least", "most"), [(10, 4, 10), (20, 6, 20), (30, 9, 30)])
def test_it_trips_in_the_time_of_its_class(trip_class: int, least: float, most: float) -> None:
    # IEC 60947-4-1: cold, at 7.2 times the rated current (the table as published trip tables
    # give it).
    after = trips_within(loaded(7.2, trip_class), most)
    assert after is not None
    assert least < after <= most
    constant = OverloadRelay("ISH-513", "auger", trip_class).time_constant
    closed_form = constant * log(7.2**2 / (7.2**2 - TRIP))
    assert after == pytest.approx(closed_form, abs=0.03)


def test_it_trips_above_the_currents_that_it_must_carry() -> None:
    # IEC 60947-4-1 (from memory): not at 1.05 times, at 1.2 times; within 4 minutes at 1.5 times,
    # warm from the rated current. The heat tends toward the square of the current.
    assert 1.05**2 < TRIP < 1.2**2
    assert trips_within(loaded(1.05, heat=100 / TRIP), 60) is None
    after = trips_within(loaded(1.5, heat=100 / TRIP), 240)
    assert after is not None
    constant = OverloadRelay("ISH-513", "auger").time_constant
    assert after == pytest.approx(constant * log((1.5**2 - 1) / (1.5**2 - TRIP)), abs=0.05)


def test_a_jam_trips_it_although_it_was_cold() -> None:
    rig = Rig(SAMPLE)
    rig.turn("panel.auger_jam", True)
    rig.turn("auger_motor", True)
    after = trips_within(rig, 12)
    constant = SAMPLE.overload_relays[0].time_constant
    closed_form = constant * log(LOCKED_ROTOR**2 / (LOCKED_ROTOR**2 - TRIP))
    assert after == pytest.approx(closed_form, abs=0.05)


def test_it_is_reset_by_hand_once_it_has_cooled_down() -> None:
    rig = Rig(SAMPLE)
    rig.set("auger.heat", HOTTEST)
    rig.run()
    assert rig.sensed("ISH-513")
    rig.turn("panel.auger_reset", True)
    rig.run(2)
    assert rig.sensed("ISH-513"), "it is too hot"
    rig.turn("panel.auger_reset", False)
    rig.set("auger.heat", RESET - 1)
    rig.run(2)
    assert rig.sensed("ISH-513"), "nobody resets it"
    rig.turn("panel.auger_reset", True)
    rig.run()
    assert not rig.sensed("ISH-513")


def test_it_cools_down_as_a_first_order_lag_does() -> None:
    # q falls to q0 exp(-t/T): from 120 to 90 per cent in T ln(120/90), the closed form.
    rig = Rig(SAMPLE)
    rig.set("auger.heat", HOTTEST)
    seconds = SAMPLE.overload_relays[0].time_constant * log(HOTTEST / RESET)
    rig.run(round(seconds * SCANS))
    assert rig.value("auger.heat") == pytest.approx(RESET, abs=0.01)


@pytest.mark.parametrize("actuated", [True, False])
def test_a_hand_brings_it_to_where_it_trips_or_may_be_reset(actuated: bool) -> None:
    rig = Rig(SAMPLE)
    for name, value in SAMPLE.overload_relays[0].stand_in(actuated=actuated).items():
        rig.set(name, value)
    rig.turn("panel.auger_reset", not actuated)
    rig.run(2)
    assert rig.sensed("ISH-513") == actuated


def test_a_motor_has_one_relay_of_a_known_class() -> None:
    with pytest.raises(ValueError, match="there is no trip class 15"):
        OverloadRelay("ISH-513", "auger", 15)
    with pytest.raises(ValueError, match="one overload relay"):
        replace(SAMPLE, overload_relays=(*SAMPLE.overload_relays, OverloadRelay("ISH-9", "auger")))


@settings(deadline=None, max_examples=15)
@given(st.floats(0.0, 3.0), st.floats(40, 100), st.sampled_from([10, 30]), st.integers(0, 2**32))
def test_runs_are_paths_of_the_abstract_step(
    run_up: float, load: float, trip_class: int, seed: int
) -> None:
    plant = replace(
        SAMPLE,
        motors=(replace(SAMPLE.motors[0], run_up=run_up, load=load),),
        overload_relays=(OverloadRelay("ISH-513", "auger", trip_class),),
    )
    check_paths(plant, [("auger.heat", 95.0)], seed, scans=30)
