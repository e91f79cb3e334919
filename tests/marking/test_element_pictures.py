"""The timing pictures of the rung elements: what they show is what the standard says.

Source of the rules: IEC 61131-3:2013, contacts and coils, standard function blocks and the timing
diagrams of its timers, from memory.
"""

from itertools import pairwise

import pytest

from server.ladder.element_help import HELP
from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind, Operator
from server.ladder.validation import errors
from server.marking.presentation.element_pictures import (
    PERIOD_MS,
    element_picture,
    example_program,
    inputs_by_scan,
)
from server.marking.verdict import Lane
from tests.reference import Controller

Steps = list[tuple[int, float]]


def lanes(key: str) -> dict[str, Lane]:
    """By the first word of their name."""
    return {lane.name.partition(" ")[0].rstrip(","): lane for lane in element_picture(key).lanes}


def steps(lane: Lane) -> Steps:
    return list(zip(lane.times_ms, lane.values, strict=True))


def pulses(lane: Lane) -> list[tuple[int, int]]:
    """When the lane comes ON, and for how long it stays so, of each pulse that ends."""
    assert not lane.unit
    changes = steps(lane)
    return [(time, end - time) for (time, on), (end, _) in pairwise(changes) if on]


def test_every_element_of_the_model_is_help_in_two_lines() -> None:
    functions = {operator.value for operator in Operator if operator.row.help}
    known = {*ContactKind, *CoilKind, "comparison", "assignment", *functions, *BLOCK_TYPES}
    assert set(HELP) == known
    for help in HELP.values():
        assert errors(example_program(help)) == ()
        assert all(20 < len(line) < 90 and line.endswith(".") for line in help.lines)


@pytest.mark.parametrize("key", HELP)
def test_the_picture_shows_what_the_plain_interpreter_does(key: str) -> None:
    help, picture = HELP[key], element_picture(key)
    program = example_program(help)
    controller = Controller(program, PERIOD_MS)
    addresses = {v.symbol: v.address for v in program.variables if v.address}
    inputs = {symbol: a for symbol, a in addresses.items() if a.startswith("%I")}
    scans: list[dict[str, int]] = []
    for given in inputs_by_scan(help.course):
        controller.scan({address: given.get(symbol, 0) for symbol, address in inputs.items()})
        scans.append({name.lower(): int(v) for name, v in controller.signals().items()})
    for lane, (_, symbol) in zip(picture.lanes, help.lanes, strict=True):
        shown = dict(steps(lane))  # of two values at one time, the later
        value = 0.0
        for scan, signals in enumerate(scans):
            value = shown.get(scan * PERIOD_MS, value)
            assert value == signals[symbol], (lane.name, scan)
        assert f">{lane.name}<" in picture.chart


def test_contacts_and_coils() -> None:
    pressed = [(400, 900), (1900, 400)]
    assert pulses(lanes("normally open")["start_pb"]) == pressed
    assert pulses(lanes("normally open")["lamp"]) == pressed
    assert pulses(lanes("normally closed")["lamp"]) == [(0, 400), (1300, 600)]
    assert pulses(lanes("rising edge")["lamp"]) == [(400, PERIOD_MS), (1900, PERIOD_MS)]
    assert pulses(lanes("falling edge")["lamp"]) == [(1300, PERIOD_MS), (2300, PERIOD_MS)]
    assert pulses(lanes("coil")["lamp"]) == pressed
    assert pulses(lanes("negated coil")["lamp"]) == [(0, 400), (1300, 600)]
    # Set with the press, reset with the other one; while both have power the lower rung wins.
    assert pulses(lanes("set coil")["lamp"]) == [(400, 1000)]
    assert pulses(lanes("reset coil")["lamp"]) == [(300, 800)]
    assert steps(lanes("assignment")["batches"])[-1] == (1900, 2)


def test_ton_delays_switching_on_by_pt() -> None:
    shown = lanes("TON")
    assert pulses(shown["IN"]) == [(300, 600), (1200, 1600)]
    assert pulses(shown["Q"]) == [(1200 + 1000, 600)], "600 ms were too short; Q goes with IN"
    assert max(shown["ET"].values) == 1000
    assert dict(steps(shown["ET"]))[900] == 0
    assert dict(steps(shown["ET"]))[2800] == 0


def test_tof_delays_switching_off_by_pt() -> None:
    shown = lanes("TOF")
    assert pulses(shown["IN"]) == [(300, 400), (1200, 400)]
    assert pulses(shown["Q"]) == [(300, 1600 + 1000 - 300)], "a break of 500 ms is bridged"
    assert dict(steps(shown["ET"]))[1200] == 0
    assert steps(shown["ET"])[-1][1] == 1000, "ET stands at PT until the next IN"


def test_tp_gives_a_pulse_of_pt_whatever_in_does() -> None:
    shown = lanes("TP")
    assert pulses(shown["IN"]) == [(300, 300), (1800, 1500)]
    assert pulses(shown["Q"]) == [(300, 1000), (1800, 1000)]
    at = dict(steps(shown["ET"]))
    assert (at[1300], at[2800], at[3250], at[3300]) == (0, 1000, 1000, 0)


def test_counters() -> None:
    up, down, both = lanes("CTU"), lanes("CTD"), lanes("CTUD")
    assert pulses(up["Q"]) == [(800, 600)], "from the third pulse of PV 3 to the reset"
    assert steps(up["CV"])[-1] == (1750, 1)
    assert pulses(down["Q"])[0] == (0, 200), "CV is zero before it is loaded"
    assert steps(down["Q"])[-1] == (1150, 1), "three pulses after loading 3"
    assert pulses(both["QU"]) == [(500, 900)], "while CV is at least PV 2"
    assert [value for _, value in steps(both["CV"])][1::2] == [0, 1, 2, 3, 2, 1]


def test_bistables_and_edge_detectors() -> None:
    set_wins, reset_wins = lanes("SR"), lanes("RS")
    assert pulses(set_wins["Q1"]) == [(300, 700), (1700, 400)]
    assert pulses(reset_wins["Q1"]) == [(300, 700)]
    assert steps(reset_wins["Q1"])[-1] == (2100, 1), "S alone, once R1 has gone"
    assert pulses(lanes("R_TRIG")["Q"]) == [(400, PERIOD_MS), (1900, PERIOD_MS)]
    # The standard's F_TRIG gives one pulse when CLK is OFF at a cold start.
    assert [time for time, _ in pulses(lanes("F_TRIG")["Q"])] == [0, 1300, 2300]
