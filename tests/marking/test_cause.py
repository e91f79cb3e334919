"""Causes against the reference interpreter: without the named change the value is another."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.causes.cause import why
from server.marking.causes.history import History, history_of, planes_to_record
from server.marking.causes.rehearsal import SUPPLY, InputChange, changes_of
from server.scan.lanes import LANES
from tests.reference import Controller
from tests.scan.lane_run import LaneRun
from tests.strategies import programs

SUMP = """PROGRAM apple_sump
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    sump_high AT %IX0.2 : BOOL;
    level AT %IW2 : INT;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
    horn AT %QX0.2 : BOOL;
    latched : BOOL;
    delay : TON;
    batches : CTU;
END_VAR
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;
lamp := fill_pump AND delay(PT := T#50ms);
start_pb AND batches(R := sump_high, PV := 2);
IF batches.Q THEN latched := TRUE; END_IF;
IF NOT stop_pb THEN latched := FALSE; END_IF;
horn := latched AND level > 500;
END_PROGRAM
"""

Inputs = Sequence[dict[str, int]]
"""Input points by address and the supply, scan by scan."""


def sump_inputs(scans: int = 40) -> Inputs:
    """Start pressed in scans 3 to 4 and 20 to 22, sump full from scan 33, level rising."""
    return [
        {
            "%IX0.0": int(3 <= s < 5 or 20 <= s < 23),
            "%IX0.1": 1,
            "%IX0.2": int(s >= 33),
            "%IW2": s * 20,
            SUPPLY: 1,
        }
        for s in range(scans)
    ]


def recorded(program: Program, inputs: Inputs) -> History:
    run = LaneRun(program, observe=True)
    planes = planes_to_record(run.compiled, run.supply)
    rows = []
    for values in inputs:
        lanes = {a: [v] * LANES for a, v in values.items() if a in run.inputs}
        run.scan(lanes, [values[SUPPLY]] * LANES)
        rows.append([bool(int(run.bits[plane]) & 1) for plane in planes])
    bits, before = np.array(rows, np.bool_), run.machine.initial[planes] != 0
    return history_of(run.compiled, run.supply, planes, bits, 10, before)


def without(program: Program, inputs: Inputs, change: InputChange) -> Inputs:
    """The inputs as they would be had one of them not changed."""
    addresses = {v.symbol: v.address for v in program.variables}
    place = SUPPLY if change.symbol == SUPPLY else addresses[change.symbol]
    assert place is not None, "an input has an address"
    at = change.scan
    before = inputs[at - 1][place] if at else int(not inputs[0][place])
    return [{**v, place: before} if s >= at else v for s, v in enumerate(inputs)]


def value_after(program: Program, inputs: Inputs, signal: str) -> int:
    """A signal after the last scan, as the reference interpreter has it."""
    controller = Controller(program)
    for values in inputs:
        controller.scan(values, bool(values[SUPPLY]))
    return controller.signals()[signal]


@pytest.mark.parametrize(
    ("signal", "scan", "named"),
    [
        ("fill_pump", 19, InputChange("start_pb", 3)),
        ("fill_pump", 39, InputChange("sump_high", 33)),
        ("lamp", 19, InputChange("start_pb", 3)),
        ("lamp", 39, InputChange("sump_high", 33)),
        ("latched", 30, InputChange("start_pb", 20)),
        ("horn", 30, InputChange("level", 26)),
        ("horn", 38, InputChange("level", 26)),
        ("batches.Q", 30, InputChange("start_pb", 20)),
        ("batches.Q", 39, InputChange("sump_high", 33)),
    ],
)
def test_the_change_that_decided_is_named(signal: str, scan: int, named: InputChange) -> None:
    program = parse_program(SUMP)
    inputs = sump_inputs()
    reasons = why(program, recorded(program, inputs), signal, scan)
    assert named in [reason.change for reason in reasons if reason.decisive]
    seen = inputs[: scan + 1]
    assert value_after(program, without(program, seen, named), signal) != value_after(
        program, seen, signal
    )


def test_sentences_lead_from_the_rung_to_the_operator() -> None:
    program = parse_program(SUMP)
    reasons = why(program, recorded(program, sump_inputs()), "fill_pump", 19)
    assert [(r.text, r.rung, r.paths, r.scan) for r in reasons] == [
        (
            "fill_pump came ON at 0.03 s: rung 1 conducted when start_pb came ON.",
            0,
            ((0, 0, 0),),
            3,
        ),
        (
            "It has held itself in since then while stop_pb is ON and sump_high is OFF.",
            0,
            ((1,), (2,)),
            3,
        ),
        ("start_pb came ON at 0.03 s. Without that, fill_pump would be OFF.", None, (), 3),
    ]


def test_timer_says_since_when_it_had_power() -> None:
    program = parse_program(SUMP)
    lit = why(program, recorded(program, sump_inputs()), "lamp", 19)
    assert "delay ran out at 0.08 s: power has reached it since 0.03 s." in [r.text for r in lit]
    dark = why(program, recorded(program, sump_inputs()), "lamp", 5)
    assert "delay is still timing: power has reached it since 0.03 s." in [r.text for r in dark]


def test_lost_supply_is_a_cause() -> None:
    program = parse_program(SUMP)
    inputs = [{**v, SUPPLY: int(s != 10)} for s, v in enumerate(sump_inputs(15))]
    reasons = why(program, recorded(program, inputs), "fill_pump", 14)
    assert InputChange(SUPPLY, 10) in [reason.change for reason in reasons if reason.decisive]


def histories(program: Program) -> st.SearchStrategy[Inputs]:
    """Inputs that stay for a few scans; the supply is seldom off."""
    wanted = {v.address: v.type for v in program.variables if (v.address or "").startswith("%I")}
    stretch = st.fixed_dictionaries(
        {
            str(address): st.integers(0, 1) if kind == "BOOL" else st.integers(-3, 6)
            for address, kind in wanted.items()
        }
        | {SUPPLY: st.sampled_from([1, 1, 1, 1, 0])}
    )
    lengths = st.tuples(stretch, st.integers(1, 6))
    return st.lists(lengths, min_size=1, max_size=6).map(
        lambda parts: [values for values, count in parts for _ in range(count)]
    )


@settings(max_examples=300)
@given(st.data(), programs(max_rungs=4))
def test_removing_the_named_cause_changes_the_value(data: st.DataObject, program: Program) -> None:
    """And when any one change of an input decided, one that did is named."""
    inputs = data.draw(histories(program))
    history = recorded(program, inputs)
    constants = {v.symbol for v in program.variables if v.type == "TIME"}
    signals = sorted(set(Controller(program).signals()) - constants)
    signal = data.draw(st.sampled_from(signals))
    value = value_after(program, inputs, signal)
    named = [r.change for r in why(program, history, signal, len(inputs) - 1) if r.decisive]
    for change in named:
        assert change is not None
        assert value_after(program, without(program, inputs, change), signal) != value
    deciding = [
        change
        for change in changes_of(program, history, len(inputs) - 1)
        if value_after(program, without(program, inputs, change), signal) != value
    ]
    assert named or not deciding


SHIFTED = """PROGRAM shifted
VAR
    next_pb AT %IX0.0 : BOOL;
    set_pb AT %IX0.1 : BOOL;
    lamp AT %QX0.0 : BOOL;
    steps : WORD;
END_VAR
IF set_pb THEN steps.%X0 := TRUE; END_IF;
IF RISING(next_pb) THEN steps := SHL(steps, 1); END_IF;
lamp := steps.%X1;
END_PROGRAM
"""


def test_a_bit_of_a_word_is_led_back_to_what_shifted_it() -> None:
    program = parse_program(SHIFTED)
    inputs = [
        {"%IX0.0": int(5 <= scan < 8), "%IX0.1": int(2 <= scan < 4), SUPPLY: 1}
        for scan in range(12)
    ]
    reasons = why(program, recorded(program, inputs), "lamp", 11)
    decisive = {reason.change for reason in reasons if reason.decisive}
    assert {InputChange("next_pb", 5), InputChange("set_pb", 2)} <= decisive
    told = [reason.text for reason in reasons]
    assert told[1] == "steps.%X1 came ON at 0.05 s: rung 2 conducted when next_pb came ON."
    assert told[2] == "steps.%X0 was set at 0.02 s: rung 1 conducted when set_pb came ON."
    dark = why(program, recorded(program, inputs[:4]), "lamp", 3)
    assert "steps.%X1 has been OFF since the start: rung 2 did nothing to it." in [
        reason.text for reason in dark
    ]
