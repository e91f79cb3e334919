"""What IEC 61131-3 says about blocks, contacts and coils, as tables.

Source of every table: IEC 61131-3:2013 from memory, with the traces worked out by hand from its
rules; the standard itself defines the timers by timing diagrams only. Both the kernel and the
plain interpreter must show them.
"""

from collections.abc import Callable
from typing import TypeAlias

import pytest

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.scan.lanes import LANES
from tests.reference import Controller
from tests.scan.lane_run import LaneRun

Trace: TypeAlias = list[int]
Runner: TypeAlias = Callable[[Program, dict[str, Trace], str, int], Trace]


def by_kernel(program: Program, inputs: dict[str, Trace], name: str, period_ms: int) -> Trace:
    """Lane 63 carries the trace, the others stand at rest."""
    run = LaneRun(program, period_ms)
    found = []
    for scan in range(len(next(iter(inputs.values())))):
        run.scan({address: [0] * (LANES - 1) + [t[scan]] for address, t in inputs.items()})
        found.append(run.signals()[name.lower()][LANES - 1])
    return found


def by_reference(program: Program, inputs: dict[str, Trace], name: str, period_ms: int) -> Trace:
    controller = Controller(program, period_ms)
    found = []
    for scan in range(len(next(iter(inputs.values())))):
        controller.scan({address: trace[scan] for address, trace in inputs.items()})
        found.append(controller.signals()[name])
    return found


@pytest.fixture(params=[by_kernel, by_reference])
def run(request: pytest.FixtureRequest) -> Runner:
    runner: Runner = request.param
    return runner


DECLARATIONS = """
PROGRAM standard
VAR
    a AT %IX0.0 : BOOL; b AT %IX0.1 : BOOL; c AT %IX0.2 : BOOL; d AT %IX0.3 : BOOL;
    x AT %QX0.0 : BOOL; y AT %QX0.1 : BOOL; n : INT; m : INT := 7;
"""


def program(rungs: str, blocks: str = "") -> Program:
    return parse_program(f"{DECLARATIONS}{blocks}\nEND_VAR\n{rungs}\nEND_PROGRAM")


def digits(text: str) -> Trace:
    return [int(digit) for digit in text]


def points(**traces: str) -> dict[str, Trace]:
    """Traces of a, b, c, d as digits, by address."""
    return {f"%IX0.{'abcd'.index(name)}": digits(text) for name, text in traces.items()}


@pytest.mark.parametrize(
    ("block", "given", "q", "et"),
    [
        ("TON", "0111001111111000", "0000000000011000", "0012000123455000"),
        ("TOF", "0110011000000000", "0111111111110000", "0000100012345555"),
        (
            "TP",
            "0100000000111111111000",
            "0111110000111110000000",
            "0012340000012345555000",
        ),
        ("TP", "0101010000000", "0111110000000", "0012340000000"),
    ],
)
def test_timers(run: Runner, block: str, given: str, q: str, et: str) -> None:
    """Scan 100 ms, PT 500 ms; ET in units of 100 ms, from the scan that saw the edge."""
    timer = program("a AND f(PT := T#500ms);", f"f : {block};")
    assert run(timer, points(a=given), "f.Q", 100) == digits(q)
    assert run(timer, points(a=given), "f.ET", 100) == [100 * t for t in digits(et)]


@pytest.mark.parametrize(
    ("block", "given", "q", "et"),
    [
        ("TON", "01111100", "00000100", [0, 0, 10, 20, 30, 35, 0, 0]),
        ("TOF", "01000000", "01111100", [0, 0, 0, 10, 20, 30, 35, 35]),
        ("TP", "01000000", "01111000", [0, 0, 10, 20, 30, 0, 0, 0]),
    ],
)
def test_a_preset_between_two_scans_is_over_at_the_later_one(
    run: Runner, block: str, given: str, q: str, et: Trace
) -> None:
    """Scan 10 ms, PT 35 ms; ET stops at PT."""
    timer = program("a AND f(PT := T#35ms);", f"f : {block};")
    assert run(timer, points(a=given), "f.Q", 10) == digits(q)
    assert run(timer, points(a=given), "f.ET", 10) == et


@pytest.mark.parametrize(("block", "q"), [("TON", "0110"), ("TOF", "0110"), ("TP", "0000")])
def test_a_preset_of_zero(run: Runner, block: str, q: str) -> None:
    """TON and TOF follow IN at once; a pulse of no length is none."""
    timer = program("a AND f(PT := T#0s);", f"f : {block};")
    assert run(timer, points(a="0110"), "f.Q", 10) == digits(q)
    assert run(timer, points(a="0110"), "f.ET", 10) == [0, 0, 0, 0]


def test_ctu_counts_past_pv_and_a_held_input_does_not_count_after_reset(run: Runner) -> None:
    counter = program("a AND f(R := b, PV := 2);", "f : CTU;")
    given = points(a="011010111", b="000000010")
    assert run(counter, given, "f.CV", 10) == digits("011122300")
    assert run(counter, given, "f.Q", 10) == digits("000011100")


def test_ctd_is_at_zero_before_it_is_loaded_and_counts_below_it(run: Runner) -> None:
    counter = program("a AND f(LD := b, PV := 3);", "f : CTD;")
    given = points(a="0010101010", b="0100000000")
    assert run(counter, given, "f.CV", 10) == [0, 3, 2, 2, 1, 1, 0, 0, -1, -1]
    assert run(counter, given, "f.Q", 10) == digits("1000001111")


def test_a_preset_may_be_a_variable(run: Runner) -> None:
    """PV is looked at in each scan, PT is the value of a TIME that nothing writes."""
    counter = program("IF b THEN n := n + 1; END_IF; a AND f(LD := c, PV := n);", "f : CTUD;")
    given = points(a="010101000", b="110000110", c="000000001")
    assert run(counter, given, "n", 10) == digits("122222344")
    assert run(counter, given, "f.CV", 10) == digits("011223334")
    assert run(counter, given, "f.QU", 10) == digits("000111101")
    timer = program("a AND f(PT := pause);", "f : TON; pause : TIME := T#30ms;")
    assert run(timer, points(a="0111111"), "f.Q", 10) == digits("0000111")


def test_ctud_resets_over_loading_over_counting(run: Runner) -> None:
    counter = program("a AND f(CD := b, R := c, LD := d, PV := 3);", "f : CTUD;")
    given = points(a="0101010101", b="0100000100", c="0000001000", d="0010001000")
    # both edges: no change; load; up; up; reset with load; both edges; up
    assert run(counter, given, "f.CV", 10) == [0, 0, 3, 4, 4, 5, 0, 0, 0, 1]
    assert run(counter, given, "f.QU", 10) == digits("0011110000")
    assert run(counter, given, "f.QD", 10) == digits("1100001110")


@pytest.mark.parametrize(("preset", "count"), [(32767, "up"), (-32768, "down")])
def test_counters_stop_at_the_ends_of_int(run: Runner, preset: int, count: str) -> None:
    """The standard's PVmax and PVmin are the ends of INT here."""
    counter = program(f"a AND f(CD := b, LD := c, PV := {preset});", "f : CTUD;")
    up, down = ("0101", "0000") if count == "up" else ("0000", "0101")
    assert run(counter, points(a=up, b=down, c="1000"), "f.CV", 10) == [preset] * 4


@pytest.mark.parametrize(
    ("block", "pin", "q1"),
    [("SR", "R", "0110011"), ("RS", "R1", "0110000")],
)
def test_bistables(run: Runner, block: str, pin: str, q1: str) -> None:
    """SR: Q1 := S1 OR (NOT R AND Q1). RS: Q1 := NOT R1 AND (S OR Q1)."""
    bistable = program(f"a AND f({pin} := b);", f"f : {block};")
    assert run(bistable, points(a="0100011", b="0001011"), "f.Q1", 10) == digits(q1)


@pytest.mark.parametrize(
    ("block", "given", "q"),
    [
        ("R_TRIG", "1101100", "1001000"),
        ("R_TRIG", "0110", "0100"),
        # By the body Q := NOT CLK AND NOT M; M := NOT CLK, whose M is FALSE at first.
        ("F_TRIG", "0110010", "1001001"),
        ("F_TRIG", "1101", "0010"),
    ],
)
def test_edge_detectors(run: Runner, block: str, given: str, q: str) -> None:
    detector = program("a AND f();", f"f : {block};")
    assert run(detector, points(a=given), "f.Q", 10) == digits(q)


@pytest.mark.parametrize(
    ("contact", "x"),
    [
        ("a", "110100"),
        ("NOT a", "001011"),
        ("RISING(a)", "100100"),
        # No falling edge in the first scan: nothing was TRUE before it.
        ("FALLING(a)", "001010"),
    ],
)
def test_contacts(run: Runner, contact: str, x: str) -> None:
    assert run(program(f"x := {contact};"), points(a="110100"), "x", 10) == digits(x)


def test_an_edge_contact_passes_only_what_reaches_it(run: Runner) -> None:
    """The edge is one of the variable: it is over in the next scan, though no power was there."""
    rung = program("x := b AND RISING(a);")
    assert run(rung, points(a="0110101", b="0011110"), "x", 10) == digits("0000100")


@pytest.mark.parametrize(
    ("rungs", "name", "expected"),
    [
        ("x := a; y := x;", "y", "0110"),
        ("y := x; x := a;", "y", "0011"),
        ("x := a; x := b;", "x", "0000"),
        ("IF a THEN x := TRUE; END_IF; IF a THEN x := FALSE; END_IF;", "x", "0000"),
        ("IF a THEN x := FALSE; END_IF; IF a THEN x := TRUE; END_IF;", "x", "0111"),
        ("NOT x := a;", "x", "1001"),
    ],
)
def test_rungs_run_from_top_to_bottom_and_the_last_write_wins(
    run: Runner, rungs: str, name: str, expected: str
) -> None:
    assert run(program(rungs), points(a="0110", b="0000"), name, 10) == digits(expected)


@pytest.mark.parametrize(
    ("rung", "x", "y"),
    [
        ("IF x THEN x := FALSE; y := TRUE; END_IF;", "0000", "0111"),
        ("IF x THEN y := TRUE; x := FALSE; END_IF;", "0000", "0111"),
        ("IF NOT y := x THEN x := FALSE; END_IF;", "0000", "1011"),
    ],
)
def test_every_coil_of_a_rung_takes_the_power_as_it_was_before_any_of_them(
    run: Runner, rung: str, x: str, y: str
) -> None:
    """The network is evaluated once: a coil that resets what the network reads stops no other."""
    rungs = program(f"IF a THEN x := TRUE; END_IF; {rung}")
    assert run(rungs, points(a="0100"), "x", 10) == digits(x)
    assert run(rungs, points(a="0100"), "y", 10) == digits(y)


@pytest.mark.parametrize(
    ("network", "value"),
    [("NOT b AND b", 0), ("a OR b AND b", 1), ("a OR a AND NOT a", 1), ("(a OR b) AND b", 0)],
)
def test_and_binds_tighter_than_or(run: Runner, network: str, value: int) -> None:
    """Precedence of the standard's text language: NOT, then AND, then OR."""
    assert run(program(f"x := {network};"), points(a="1", b="0"), "x", 10) == [value]


@pytest.mark.parametrize(
    ("expression", "result"),
    [
        ("5 - 3", 2),
        ("m * 4", 28),
        ("m / 2", 3),
        ("-7 / 2", -3),
        ("m / -2", -3),
        ("-32768 / -1", 0),
        ("m / 0", 0),
        ("32767 + 1", 0),
        ("-32768 - 1", 0),
        ("256 * 128", 0),
        ("181 * 181", 32761),
        ("-256 * 128", -32768),
        ("m MOD 4", 3),
        ("-7 MOD 4", -3),
        ("m MOD -4", 3),
        ("m MOD 0", 0),
        ("-32768 MOD -1", 0),
        ("ABS(-5)", 5),
        ("ABS(m)", 7),
        ("ABS(-32768)", 0),
        ("MIN(m, 8)", 7),
        ("MIN(m, -8)", -8),
        ("MAX(m, 8)", 8),
        ("MAX(-32768, 32767)", 32767),
        ("LIMIT(0, m, 5)", 5),
        ("LIMIT(9, m, 12)", 9),
        ("LIMIT(0, m, 12)", 7),
        ("LIMIT(9, m, 5)", 5),
        ("SEL(a, 1, m)", 7),
        ("SEL(b, 1, m)", 1),
    ],
)
def test_numbers(run: Runner, expression: str, result: int) -> None:
    """A quotient is truncated toward zero; what is out of INT's range leaves the target alone.

    IEC 61131-3, function tables for numbers and for selection (from memory): what MOD leaves is
    ``IN1 - IN1 / IN2 * IN2``, or 0 for ``IN2 = 0``; LIMIT is ``MIN(MAX(IN, MN), MX)``; SEL is IN1
    while G is TRUE, else IN0.
    """
    assert run(program(f"IF a THEN n := {expression}; END_IF;"), points(a="1"), "n", 10) == [result]


def test_arithmetic_that_goes_wrong_sets_a_fault_that_stays() -> None:
    divide = program("IF a THEN n := m / n; END_IF; IF b THEN n := 1; END_IF;")
    kernel, plain = LaneRun(divide), Controller(divide)
    faults = []
    for a, b in [(0, 0), (1, 1), (1, 0)]:
        kernel.scan({"%IX0.0": [a] * LANES, "%IX0.1": [b] * LANES})
        plain.scan({"%IX0.0": a, "%IX0.1": b})
        faults.append(plain.fault)
        assert kernel.signals()["FAULT"] == [plain.fault] * LANES
        assert kernel.signals()["n"] == [plain.values["n"]] * LANES
    assert faults == [False, True, True]


def test_retain_outlives_a_power_cycle_and_nothing_else_does() -> None:
    """RETAIN keeps its value over a warm restart, the others start anew (IEC 61131-3; memory)."""
    cycle = parse_program("""
PROGRAM cycle
VAR
    a AT %IX0.0 : BOOL; run : BOOL; n : INT := 5; delay : TON;
END_VAR
VAR RETAIN
    batch : BOOL; total : INT; kept_delay : TON;
END_VAR
IF a THEN run := TRUE; batch := TRUE; n := n + 1; total := total + 1; END_IF;
a AND delay(PT := T#50ms);
a AND kept_delay(PT := T#50ms);
END_PROGRAM
""")
    kernel, plain = LaneRun(cycle), Controller(cycle)
    for supplied in (True, True, True, False, False, True):
        kernel.scan({"%IX0.0": [1] * LANES}, [int(supplied)] * LANES)
        plain.scan({"%IX0.0": 1}, supplied)
        shown = {name: plain.signals()[name] for name in
                 ("run", "n", "delay.ET", "batch", "total", "kept_delay.ET")}  # fmt: skip
        assert {name: kernel.signals()[name.lower()] for name in shown} == {
            name: [value] * LANES for name, value in shown.items()
        }
        if not supplied:
            assert shown == {"run": 0, "n": 5, "delay.ET": 0,
                             "batch": 1, "total": 3, "kept_delay.ET": 20}  # fmt: skip
    assert shown == {"run": 1, "n": 6, "delay.ET": 0,
                     "batch": 1, "total": 4, "kept_delay.ET": 30}  # fmt: skip


WORDS = [
    # function, IN, N, result: worked out by hand from the rules of the table of shift functions
    ("SHL", 0x8001, 1, 0x0002),
    ("SHL", 0x00FF, 4, 0x0FF0),
    ("SHL", 0xFFFF, 16, 0x0000),
    ("SHR", 0x8001, 1, 0x4000),
    ("SHR", 0xFF00, 4, 0x0FF0),
    ("SHR", 0xFFFF, 300, 0x0000),
    ("ROL", 0x8001, 1, 0x0003),
    ("ROL", 0x1234, 4, 0x2341),
    ("ROL", 0x1234, 20, 0x2341),
    ("ROR", 0x8001, 1, 0xC000),
    ("ROR", 0x1234, 4, 0x4123),
    ("ROR", 0x1234, 16, 0x1234),
]


@pytest.mark.parametrize(("function", "given", "places", "result"), WORDS)
def test_shifts_and_rotations(
    run: Runner, function: str, given: int, places: int, result: int
) -> None:
    """By a literal and by a variable; a negative number of places changes nothing."""
    rungs = f"w := {function}(16#{given:04X}, {places}); w := {function}(w, -1);"
    assert run(program(rungs, "w : WORD;"), points(a="0"), "w", 10) == [result]
    rungs = f"w := {function}(16#{given:04X}, k); w := {function}(w, below);"
    declared = f"w : WORD; k : INT := {places}; below : INT := -1;"
    assert run(program(rungs, declared), points(a="0"), "w", 10) == [result]


@pytest.mark.parametrize(
    ("expression", "result"),
    [
        ("16#0FF0 AND 16#00FF", 0x00F0),
        ("16#0FF0 OR 16#00FF", 0x0FFF),
        ("16#0FF0 XOR 16#00FF", 0x0F0F),
        ("NOT 16#0FF0", 0xF00F),
        ("INT_TO_WORD(-2)", 0xFFFE),
    ],
)
def test_bitwise_functions(run: Runner, expression: str, result: int) -> None:
    assert run(program(f"w := {expression};", "w : WORD;"), points(a="0"), "w", 10) == [result]


@pytest.mark.parametrize(
    ("expression", "result"),
    [
        ("2 + 3 * 4 - 10 / 5", 12),
        ("(2 + 3) * (4 - m)", -15),
        ("100 - (m - 2)", 95),
        ("-m MOD 4 * 2", -6),
        ("MAX(m + 1, 2 * m) / LIMIT(1, m - 5, 3)", 7),
        ("WORD_TO_INT(SHL(16#0003, m - 5) OR 16#0001)", 13),
    ],
)
def test_operators_in_the_order_of_the_standard(run: Runner, expression: str, result: int) -> None:
    """Parentheses, then * / MOD, then + -, from left to right; m is 7."""
    assert run(program(f"n := {expression};"), points(a="0"), "n", 10) == [result]


@pytest.mark.parametrize(
    "expression", ["32767 + m - m", "m / (m - 7) + 1", "MIN(5, 300 * 300)", "1 + ABS(-32768)"]
)
def test_a_result_in_between_that_goes_wrong_leaves_the_target(
    run: Runner, expression: str
) -> None:
    wrong = program(f"n := 5; IF a THEN n := {expression}; END_IF;")
    assert run(wrong, points(a="01"), "n", 10) == [5, 5]


def test_a_shift_register_and_its_bits(run: Runner) -> None:
    """The bit that a rising edge lets in moves up at each edge; the WORD orders as unsigned."""
    rungs = """
    IF RISING(a) THEN w := SHL(w, 1); END_IF;
    IF b THEN w.%X0 := TRUE; END_IF;
    x := w.%X2;
    y := w > 16#7FFF;
    n := WORD_TO_INT(w);
    """
    shifted = program(rungs, "w : WORD := 16#2000;")
    given = points(a="0101010", b="1000000")
    assert run(shifted, given, "w", 10) == [
        0x2001,
        0x4002,
        0x4002,
        0x8004,
        0x8004,
        0x0008,
        0x0008,
    ]
    assert run(shifted, given, "x", 10) == digits("0001100")
    assert run(shifted, given, "y", 10) == digits("0001100")
    assert run(shifted, given, "n", 10)[3] == 0x8004 - 0x10000
