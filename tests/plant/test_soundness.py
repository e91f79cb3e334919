"""Every concrete run, seen as regions, is a path of the abstract step.

Rates, speeds and timings are drawn widely.
"""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from server.plant.parts.axis import Axis
from server.plant.parts.belt import Belt
from server.plant.parts.conveyor_line import ConveyorLine
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import Feeder
from server.plant.parts.level_switch import LevelSwitch
from server.plant.parts.level_transmitter import LevelTransmitter
from server.plant.parts.outlet import Outlet
from server.plant.parts.position_switch import PositionSwitch
from server.plant.parts.pusher import Pusher
from server.plant.parts.stop import Stop
from server.plant.parts.stream import Stream
from server.plant.parts.vessel import Vessel
from server.plant.plant import Plant
from tests.plant.demo_plants import BOTTLES, SUMP
from tests.plant.paths import Abstract, Table, Threshold, check_paths, scatter
from tests.plant.rig import Rig

PERIOD_MS = 100
seeds = st.integers(0, 2**32)


heights = st.floats(0.05, 1.0)
hysteresis = st.floats(0.001, 0.04)


@st.composite
def axes(draw: st.DrawFn) -> tuple[tuple[Axis, ...], tuple[PositionSwitch, ...]]:
    times = st.floats(0.3, 20.0)
    axis = Axis(
        "lift",
        "up",
        draw(st.sampled_from([None, "down"])),
        seconds_forward=draw(times),
        seconds_back=draw(times),
        label="lift",
    )
    middle = draw(st.lists(st.floats(10, 90), max_size=1))
    switches = [PositionSwitch(f"ZS-{n}", "lift", at) for n, at in enumerate([0, 100, *middle])]
    return draw(st.sampled_from([((axis,), tuple(switches)), ((), ())]))


@st.composite
def tanks(draw: st.DrawFn) -> tuple[Plant, list[Threshold]]:
    rates, ends = st.floats(1e-4, 0.1), st.sampled_from([None, "first", "second"])
    vessels = (
        Vessel("first", draw(st.floats(0.05, 2)), 1.0, label="first"),
        Vessel("second", 0.3, 1.0, label="second"),
    )
    streams = []
    for number in range(draw(st.integers(1, 3))):
        source, target = draw(st.tuples(ends, ends).filter(lambda pair: pair[0] != pair[1]))
        actuator = draw(st.sampled_from([None, "pump"]))
        streams.append(
            Stream(
                f"s{number}",
                f"P-{number}",
                draw(rates),
                source,
                target,
                actuator,
                label=f"s{number}",
            )
        )
    target = draw(st.sampled_from([None, "second"]))
    outlet = Outlet(
        "drain", "LV-1", "first", draw(st.floats(0.005, 0.2)), 0.62, target, "valve", label="drain"
    )
    switches = [
        LevelSwitch(f"LS-{number}", vessel, height, draw(hysteresis))
        for vessel in ("first", "second")
        for number, height in enumerate(draw(st.lists(heights, max_size=3)), 10 * len(vessel))
    ]
    moved, positions = draw(axes())
    plant = Plant(
        vessels=vessels,
        streams=tuple(streams),
        outlets=draw(st.sampled_from([(outlet,), ()])),
        level_switches=tuple(switches),
        level_transmitters=draw(st.sampled_from([(), (LevelTransmitter("LT-1", "first"),)])),
        axes=moved,
        position_switches=positions,
    )
    near = [(f"{s.vessel}.level", s.height - s.hysteresis / 2) for s in switches]
    return plant, draw(st.lists(st.sampled_from(near), max_size=2)) if near else []


numbers = st.lists(st.sampled_from([0, 1, 2500, 5000, 5001, 9999, 10000, 20000]), max_size=2)


@settings(deadline=None, max_examples=25)
@given(tanks(), numbers, seeds)
def test_tank_runs_are_paths(
    drawn: tuple[Plant, list[Threshold]], edges: list[int], seed: int
) -> None:
    check_paths(*drawn, seed, {"LT-1": edges})


def beside_eyes(ats: list[float], length: float) -> st.SearchStrategy[float]:
    """Places less than an item's length before or behind an eye, where a pusher is seen to act."""
    return st.sampled_from([*ats, 1.0]).flatmap(
        lambda at: st.floats(max(0.01, at - length), min(1.99, at + length))
    )


@st.composite
def conveyors(draw: st.DrawFn) -> tuple[Plant, list[Threshold]]:
    length = draw(st.floats(0.1, 0.4))
    places = st.floats(0.05, 1.95)
    fastest = min(length, 0.05) * 1000 / PERIOD_MS  # eyes are at least 0.05 m apart
    speeds, run_ups = st.floats(0.05, 0.99 * fastest), st.sampled_from([0.0, 0.35])
    cut = draw(st.floats(0.3, 1.7))
    belts = (
        Belt("b1", "M-1", cut, draw(speeds), "motor_1", draw(run_ups), label="b1"),
        Belt(
            "b2",
            "M-2",
            2.0 - cut,
            draw(speeds),
            draw(st.sampled_from([None, "motor_2"])),
            label="b2",
        ),
    )
    apart = st.lists(places, max_size=3, unique_by=lambda at: round(at / 0.1))
    ats = draw(apart)
    if ats:  # from eye to eye about an item's length: it leaves the one as it comes to the other
        ats += [
            ats[0] + length + nudge for nudge in draw(st.lists(st.floats(-0.02, 0.02), max_size=1))
        ]
    ats = sorted(at for at in ats if at < 2.0)
    ats = [at for at, ahead in zip(ats, [*ats[1:], 9.0], strict=False) if ahead - at > 0.05]
    eyes = [Eye(f"YS-{n}", at, draw(st.booleans())) for n, at in enumerate(ats)]
    beside = draw(st.booleans())
    if eyes and beside:
        eyes.append(Eye("YS-9", eyes[0].at, not eyes[0].marked_only))
    pushers = [
        Pusher(f"p{n}", f"YV-{n}", at, f"push_{n}", label=f"p{n}")
        for n, at in enumerate(draw(st.lists(places | beside_eyes(ats, length), max_size=2)))
    ]
    stops = [
        Stop(f"g{n}", f"XV-{n}", at, f"gate_{n}", label=f"g{n}")
        for n, at in enumerate(draw(st.lists(places, max_size=1)))
    ]
    feeder = Feeder(draw(st.floats(0.1, 4.0)), draw(st.integers(0, 2)))
    plant = Plant(
        line=ConveyorLine("items", length, gap=draw(st.sampled_from([0.0, 0.1]))),
        belts=belts,
        eyes=tuple(eyes),
        feeder=draw(st.sampled_from([None, feeder])),
        stops=tuple(stops),
        pushers=tuple(pushers),
    )
    counts = ["items.fed", "items.passed", *(f"{p.name}.pushed" for p in pushers)]
    counted = st.tuples(st.sampled_from(counts), st.sampled_from([1.0, 2.0]))
    return plant, draw(st.lists(counted, max_size=1))


@settings(deadline=None, max_examples=80)
@given(conveyors(), seeds)
def test_conveyor_runs_are_paths(drawn: tuple[Plant, list[Threshold]], seed: int) -> None:
    check_paths(*drawn, seed)


def test_a_number_that_the_program_calculates_with_is_open() -> None:
    plant = Plant(
        vessels=(Vessel("tank", 1.0, 1.0, label="tank"),),
        level_transmitters=(LevelTransmitter("LT-1", "tank"),),
    )
    assert len(Abstract(plant, [], PERIOD_MS).choices) == (10_000).bit_length()
    assert len(Abstract(plant, [], PERIOD_MS, {"LT-1": [5000, 5001]}).choices) == 2


def test_few_choices_for_a_tank_and_a_conveyor() -> None:
    # The search tries every combination in every state.
    assert len(Abstract(SUMP, [], PERIOD_MS, {"LT-201": []}).choices) == 3
    assert (
        len(Abstract(replace(BOTTLES, axes=(), position_switches=()), [], PERIOD_MS).choices) == 5
    )


def test_a_search_can_begin_where_a_scenario_does() -> None:
    rig = Rig(SUMP, PERIOD_MS)
    rig.set("sump.level", 0.97)
    abstract = Abstract(SUMP, [], PERIOD_MS, {"LT-201": [4000]})
    assert abstract.step.planes_at({"sump.level": 0.97}) == abstract.regions_of(rig, 0)
    assert abstract.step.planes_at({}) == {
        plane: bool(abstract.machine.initial[plane]) for plane in abstract.machine.state
    }


def test_a_search_can_begin_with_items_on_the_line() -> None:
    rig = Rig(BOTTLES, PERIOD_MS)
    scatter(rig, [[0.6, 2.0]] * 64)
    rig.set("lift.position", 50.0)
    abstract = Abstract(BOTTLES, [], PERIOD_MS)
    planes = abstract.step.planes_at({"lift.position": 50.0}, [(2.0, True), (0.6, False)])
    expected = abstract.regions_of(rig, 0)
    assert planes == {plane: on for plane, on in expected.items() if plane in planes}


def test_the_edge_of_a_position_switch_belongs_to_it() -> None:
    # 0.25 % a scan from 47 % on: the positions 48 % and 52 % are met exactly.
    plant = replace(
        SUMP,
        axes=(Axis("lift", "up", "down", seconds_forward=4.0, seconds_back=4.0, label="lift"),),
        position_switches=(PositionSwitch("ZS-1", "lift", 50),),
    )
    rig, abstract = Rig(plant), Abstract(plant, [], 10)
    rig.set("lift.position", 47.0)
    rig.turn("up", True)
    seen = []
    for _ in range(24):
        before = row_of(abstract, rig)
        rig.run()
        seen.append((rig.value("lift.position"), rig.sensed("ZS-1")))
        worked = np.array([name in ("up", "panel.supply") for name in abstract.worked])
        assert abstract.has(before, worked, row_of(abstract, rig)), f"at {seen[-1][0]} %"
    assert {at for at, on in seen if on} == {48 + n / 4 for n in range(17)}


def row_of(abstract: Abstract, rig: Rig) -> Table:
    planes = abstract.regions_of(rig, 0)
    return np.array([planes[plane] for plane in abstract.machine.state])
