"""What is wrong with a program and what a colleague would point out; messages pinned whole."""

from dataclasses import replace

import pytest
from hypothesis import given

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.json_form import from_json, to_json
from server.ladder.messages import Place, Severity
from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Coil, Program, Rung, Variable
from server.ladder.references import cross_reference
from server.ladder.text_form import parse_program
from server.ladder.validation import errors, validate
from tests.strategies import programs

DECLARATIONS = """\
start_pb AT %IX0.0 : BOOL; stop_pb AT %IX0.1 : BOOL; level AT %IW2 : INT;
pump AT %QX0.0 : BOOL; lamp AT %QX0.1 : BOOL; running : BOOL; n : INT; pause : TIME;
delay : TON; pulse : TP; count : CTU; edge : R_TRIG; latch : SR;
"""


def program(rungs: str, declarations: str = DECLARATIONS) -> Program:
    return parse_program(f"PROGRAM trial VAR {declarations} END_VAR {rungs} END_PROGRAM")


def errors_of(rungs: str, declarations: str = DECLARATIONS) -> list[str]:
    return [str(message) for message in errors(program(rungs, declarations))]


def advice_of(
    rungs: str, declarations: str = DECLARATIONS, points: tuple[PointDeclaration, ...] = ()
) -> list[str]:
    messages = validate(program(rungs, declarations), points)
    wanted = [message for message in messages if message.rule not in ("unused", "comment")]
    return [f"{message.severity}: {message}" for message in wanted]


@given(programs())
def test_generated_programs_have_no_errors(generated: Program) -> None:
    assert errors(generated) == ()


def test_a_right_program_has_neither_errors_nor_advice() -> None:
    text = """
    // [R1] Seals in.
    pump := (start_pb OR pump) AND stop_pb AND delay(PT := T#5s) AND level > 500;
    // [R2] Counts.
    IF lamp := RISING(delay.Q) AND count(PV := 3, R := NOT start_pb) AND count.CV <> 2
       AND delay.ET < T#2s THEN n := n + count.CV; END_IF;
    """
    declarations = DECLARATIONS.replace("running : BOOL;", "").replace("pause : TIME;", "")
    declarations = declarations.replace("pulse : TP;", "").replace("edge : R_TRIG; latch : SR;", "")
    assert validate(program(text, declarations)) == ()


@pytest.mark.parametrize(
    ("rung", "sentence"),
    [
        (
            "pump := strat_pb;",
            "Rung 1, element 1: strat_pb is not declared. Declare it, or use start_pb.",
        ),
        ("zzz := start_pb;", "Rung 1, output 1: zzz is not declared. Declare it."),
        (
            "pump := level;",
            "Rung 1, element 1: level is an INT; a contact needs a BOOL. Use a comparison on it.",
        ),
        (
            "level := start_pb;",
            "Rung 1, output 1: level is an input and can't be written. "
            "Write an output or an internal bit.",
        ),
        (
            "n := start_pb;",
            "Rung 1, output 1: n is an INT; a coil needs a BOOL. Assign a number to it.",
        ),
        (
            "IF TRUE THEN delay := TRUE; END_IF;",
            "Rung 1, output 1: delay is a TON and has no value of its own. "
            "Name one of its outputs: delay.Q and delay.ET.",
        ),
        (
            "pump := start_pb > 3;",
            "Rung 1, element 1: start_pb is a BOOL; a comparison takes numbers or durations. "
            "Use a contact on it.",
        ),
        (
            "pump := level > T#2s;",
            "Rung 1, element 1: level is an INT and T#2s a TIME. "
            "Compare two numbers or two durations.",
        ),
        (
            "pump := delay;",
            "Rung 1, element 1: delay is a TON and has no value of its own. "
            "Name one of its outputs: delay.Q and delay.ET.",
        ),
        (
            "pump := delay.CV = 3;",
            "Rung 1, element 1: delay is a TON and has no output CV. Its outputs are Q and ET.",
        ),
        (
            "pump := start_pb.Q;",
            "Rung 1, element 1: start_pb is a BOOL and has no output Q. Write start_pb alone.",
        ),
        (
            "pump := start_pb(PT := T#2s);",
            "Rung 1, element 1: start_pb is a BOOL and no function block. "
            "Use a contact or a comparison on it, or declare a block.",
        ),
        (
            "pump := dealy(PT := T#2s);",
            "Rung 1, element 1: dealy is not declared. Declare it, or use delay.",
        ),
        (
            "pump := delay();",
            "Rung 1, element 1: PT of delay is not wired. Give it a duration, like T#5s.",
        ),
        (
            "pump := delay(PT := delay.ET);",
            "Rung 1, element 1: PT of delay can't be delay.ET: a preset is no time or count that "
            "runs. Give it a duration, like T#5s, or a variable.",
        ),
        (
            "pump := count(PV := pause);",
            "Rung 1, element 1: pause is a TIME; PV of count needs an INT. Give it a number, "
            "like 3.",
        ),
        (
            "pump := count(PV := 3, R := 1);",
            "Rung 1, element 1: R of count can't be 1. Give it a symbol.",
        ),
        (
            "pump := count(PV := 3, R := NOT level);",
            "Rung 1, element 1: level is an INT; R of count needs a BOOL. Give it a BOOL.",
        ),
        (
            "pump := count(PV := 3, PV := 4);",
            "Rung 1, element 1: PV of count is wired twice. Remove one of the two.",
        ),
        (
            "pump := delay(PT := T#2s, IN := start_pb);",
            "Rung 1, element 1: IN of delay is the power that reaches the block from the left. "
            "Leave IN out and put its condition in front of the block.",
        ),
        (
            "pump := delay(PT := T#2s, R := start_pb);",
            "Rung 1, element 1: delay is a TON and has no input R. Its inputs are PT.",
        ),
        (
            "pump := edge(R := start_pb);",
            "Rung 1, element 1: edge is a R_TRIG and has no input R. It takes the power alone.",
        ),
        (
            "pump := latch();",
            "Rung 1, element 1: R of latch is not wired. Give it a symbol.",
        ),
        (
            "pump := delay(PT := T#2s); ; lamp := delay(PT := T#3s);",
            "Rung 3, element 1: delay is used already in rung 1. "
            "Declare another TON for this place.",
        ),
        (
            "IF TRUE THEN n := start_pb; END_IF;",
            "Rung 1, output 1: start_pb is a BOOL; an assignment needs an INT. "
            "Assignments calculate with INT only.",
        ),
        (
            "IF TRUE THEN n := n + T#2s; END_IF;",
            "Rung 1, output 1: T#2s is a TIME; an assignment needs an INT. "
            "Assignments calculate with INT only.",
        ),
        (
            "IF TRUE THEN pause := 3; END_IF;",
            "Rung 1, output 1: pause is a TIME; an assignment needs an INT. "
            "Assignments calculate with INT only.",
        ),
    ],
)
def test_errors_in_rungs(rung: str, sentence: str) -> None:
    assert errors_of(rung) == [sentence.replace("a R_TRIG", "an R_TRIG")]


def test_a_block_output_can_not_be_written() -> None:
    rung = Rung(outputs=(Coil(CoilKind.COIL, "delay.Q"),))
    (message,) = errors(Program("trial", (Variable("delay", "TON"),), (rung,)))
    assert str(message) == (
        "Rung 1, output 1: delay.Q is an output of a block and can't be written. "
        "Write another variable."
    )


def test_errors_in_declarations() -> None:
    variables = (
        Variable("a", "BOOL", "%IX0.0"),
        Variable("b", "BOOL", "%IX0.0"),
        Variable("a", "BOOL"),
        Variable("<b>", "BOOL"),
        Variable("c", "REAL"),
        Variable("d", "INT", "%IX0.0"),
    )
    assert [str(message) for message in errors(Program("trial", variables))] == [
        "b has the same address as a, %IX0.0. Use one of the two symbols everywhere.",
        "a is declared twice. Rename or remove one of the two.",
        "'<b>' can't be a symbol. "
        "Write a letter first, then letters, digits and single underscores.",
        "c has the unknown type REAL. "
        "The types are BOOL, INT, TIME, WORD, TON, TOF, TP, CTU, CTD, CTUD, R_TRIG, F_TRIG, "
        "SR, RS.",
        "'%IX0.0' is no direct address of an INT. Write it like %IW2, %QW0 or %MW4.",
        "d has the same address as a, %IX0.0. Use one of the two symbols everywhere.",
    ]


def test_all_errors_at_once_with_the_element() -> None:
    messages = errors(program("pump := start_pb AND (a OR b AND level); lamp := delay();"))
    assert [(m.rule, m.place) for m in messages] == [
        ("undeclared", Place(rung=0, path=(1, 0, 0))),
        ("undeclared", Place(rung=0, path=(1, 1, 0))),
        ("type", Place(rung=0, path=(1, 1, 1))),
        ("input", Place(rung=1, path=(0,))),
    ]


@pytest.mark.parametrize(
    ("rungs", "sentences"),
    [
        (
            "lamp := start_pb; pump := start_pb; lamp := stop_pb;",
            [
                "warning: Rung 3, output 1: lamp has 2 coils, in rungs 1 and 3; "
                "only the last one counts. Drive it from one coil with parallel branches."
            ],
        ),
        (
            "pump, lamp := start_pb; IF stop_pb THEN lamp := TRUE; END_IF;",
            [
                "warning: Rung 2, output 1: The set coil of lamp is overruled by its coil in "
                "rung 1. Use either a coil, or a set and a reset coil."
            ],
        ),
        (
            "pump := start_pb; IF stop_pb THEN lamp := TRUE; END_IF;",
            ["warning: Rung 2, output 1: lamp has a set coil and no reset coil. Add a reset coil."],
        ),
        (
            "pump, lamp := start_pb AND running AND n > 3;",
            [
                "warning: running is read in rung 1 and never written. "
                "Write it in a rung, or read what was meant.",
                "warning: n is read in rung 1 and never written. "
                "Write it in a rung, or read what was meant.",
            ],
        ),
        (
            "pump, lamp, running := start_pb;",
            ["note: running is written and never read. Is it needed?"],
        ),
        (
            "pump, lamp := start_pb; ;",
            ["warning: Rung 2: The rung is empty. Build it or delete it."],
        ),
        (
            "pump, lamp := start_pb; stop_pb; start_pb AND pulse(PT := T#1s);",
            ["warning: Rung 2: The rung drives nothing. Add a coil or an action."],
        ),
        (
            "pump, lamp := stop_pb AND (start_pb OR TRUE);",
            [
                "warning: Rung 1, element 2: A branch without elements carries power past the "
                "others. Put an element into it or delete it."
            ],
        ),
        (
            "pump := start_pb AND lamp;",
            ["warning: The output lamp is never written. Drive it from a rung."],
        ),
    ],
)
def test_advice(rungs: str, sentences: list[str]) -> None:
    assert advice_of(rungs) == sentences


def test_small_advice() -> None:
    messages = validate(program("x := y;", "x : BOOL; y AT %IX0.0 : BOOL; z : TON;"))
    assert [f"{message.severity}: {message}" for message in messages] == [
        "warning: z is never used. Use it or remove it.",
        "note: Rung 1: The rung has no comment. Say what it does and what it serves.",
        "note: x is written and never read. Is it needed?",
    ]


def test_a_retained_output_is_pointed_out() -> None:
    retained = parse_program(
        "PROGRAM p VAR RETAIN pump AT %QX0.0 : BOOL; END_VAR // On.\npump := TRUE; END_PROGRAM"
    )
    assert [str(message) for message in validate(retained)] == [
        "pump is an output and RETAIN: it comes back by itself when power returns. "
        "Declare it without RETAIN unless the exercise asks for it."
    ]


POINTS = (
    PointDeclaration("start_pb", "%IX0.0", "HS-210", "Start", ContactKind.OPEN, 0),
    PointDeclaration("stop_pb", "%IX0.1", "HS-211", "Stop", ContactKind.CLOSED, 1),
    PointDeclaration("sump_high", "%IX0.2", "LSH-201", "Sump full", ContactKind.OPEN, 0),
    PointDeclaration("fill_pump", "%QX0.0", "M-220", "Fill pump"),
    PointDeclaration("level", "%IW2", "LT-201", "Level"),
    PointDeclaration("batch", "%MX0.0", "", "Batch running"),
)


def test_advice_about_the_points_of_an_exercise() -> None:
    declarations = """go AT %IX0.0 : BOOL; halt AT %IX0.1 : BOOL; pump AT %QX0.0 : BOOL;
    other AT %QX0.7 : BOOL; level AT %IW2 : INT;"""
    assert advice_of("other := go AND NOT halt;", declarations, POINTS) == [
        "warning: The point sump_high (%IX0.2) is not declared. "
        "Declare it: sump_high AT %IX0.2 : BOOL;",
        "warning: The output pump is never written. Drive it from a rung.",
        "warning: The input level (%IW2) is never read. Does a requirement need it?",
        "warning: other has the address %QX0.7, which no point has. "
        "Take an address from the table of points.",
        "note: Rung 1, element 2: halt is wired normally closed and ON at rest: this contact "
        "conducts only while the device is actuated or its wire is broken. "
        "Use a normally open contact if that is not meant.",
    ]


def test_directions_and_types_of_points_follow_from_the_address() -> None:
    assert [point.direction for point in POINTS] == [
        *[Direction.INPUT] * 3,
        Direction.OUTPUT,
        Direction.INPUT,
        Direction.INTERNAL,
    ]
    assert [point.type for point in POINTS] == ["BOOL"] * 4 + ["INT", "BOOL"]


def test_messages_come_in_order_of_severity() -> None:
    severities = [m.severity for m in validate(program("; pump := start_pb AND wrong;"))]
    assert severities == sorted(severities, key=list(Severity).index)
    assert set(severities) == set(Severity)


def test_cross_reference() -> None:
    text = """pump := start_pb AND count(R := NOT start_pb, PV := 3);
    IF count.CV > n THEN n := n + 1; pump := FALSE; END_IF;"""
    uses = cross_reference(program(text))
    assert uses["start_pb"].reads == [Place(rung=0, path=(0,)), Place(rung=0, path=(1,))]
    assert uses["pump"].writes == [Place(rung=0, output=0), Place(rung=1, output=1)]
    assert uses["count"].calls == [Place(rung=0, path=(1,))]
    assert uses["count"].reads == [Place(rung=1, path=(0,))]
    assert uses["n"].reads == [Place(rung=1, path=(0,)), Place(rung=1, output=0)]
    assert uses["n"].writes == [Place(rung=1, output=0)]
    assert uses["lamp"].all == []


def test_limits_are_errors() -> None:
    long_rung = Rung(outputs=(Coil(CoilKind.COIL, "pump"),) * 201)
    messages = errors(replace(program(";"), rungs=(long_rung,)))
    assert str(messages[0]) == (
        "Rung 1: The rung has 201 elements and outputs. At most 200 are allowed."
    )


def test_the_whole_program_has_a_budget_of_its_own_but_stays_readable_once_stored() -> None:
    rung = Rung(outputs=(Coil(CoilKind.COIL, "pump"),) * 200)
    full = replace(program(";"), rungs=(rung,) * 25)
    assert not any(message.rule == "limit" for message in errors(full))
    over = replace(full, rungs=(*full.rungs, Rung(outputs=(Coil(CoilKind.COIL, "pump"),))))
    sentence = "The program has 5001 elements and outputs in all. At most 5000 are allowed."
    assert sentence in map(str, errors(over))
    assert from_json(to_json(over)) == over


def test_what_is_remembered_of_a_rung_goes_with_it_and_not_with_its_declarations() -> None:
    wrong, right = program("pump := nowhere;"), program("lamp := start_pb;")
    moved = replace(wrong, rungs=(*right.rungs, *wrong.rungs))
    sentence = "element 1: nowhere is not declared. Declare it."
    assert [str(message) for message in errors(wrong)] == [f"Rung 1, {sentence}"]
    assert [str(message) for message in errors(moved)] == [f"Rung 2, {sentence}"]
    places = [m.place for m in validate(moved) if m.rule == "comment"]
    assert places == [Place(rung=0), Place(rung=1)]
    declared = (*wrong.variables, Variable("nowhere", "BOOL"))
    assert errors(replace(moved, variables=declared)) == ()
