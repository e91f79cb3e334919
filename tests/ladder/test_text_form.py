"""Text to tree to text is the identity; messages are pinned whole."""

import re
import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.ladder import text_form
from server.ladder.durations import parse_duration, print_duration
from server.ladder.elements import TIME_MAX_MS, ContactKind
from server.ladder.messages import Place, ProgramError, error
from server.ladder.program import Contact, Program, Rung, Series
from server.ladder.text_form import (
    parse_network,
    parse_program,
    parse_rung,
    parse_rungs,
    parse_source,
    print_network,
    print_program,
    print_rung,
)
from tests.strategies import DURATIONS, programs

CANONICAL = """\
// Sump of the apple wash.
PROGRAM apple_sump
VAR
    start_pb AT %IX0.0 : BOOL;  // Start push-button
    count : INT := 3;
    soak : TIME := T#1m30s;
    fill_delay : TON;
END_VAR
VAR RETAIN
    batch_running : BOOL := TRUE;
END_VAR

// [R1, R2a] The fill pump seals in.
// Second comment line.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;

// [R3] Two actions and a number in one rung.
IF RISING(eye) AND NOT jam THEN running := TRUE; fault := FALSE; n := n + 1; END_IF;

lamp, NOT horn := running AND fill_delay(PT := T#5s) AND level > 500;

IF ready := a AND b THEN latched := TRUE; END_IF;

a AND counter(R := NOT reset_pb, PV := 5);

out := a AND b OR (c OR TRUE AND d) AND FALLING(e) OR fill_delay.ET >= T#2s500ms;

// [] [R9] is meant as words.
IF TRUE THEN n := -5 - -3; END_IF;

;
END_PROGRAM
""".replace("TRUE AND d", "d")


def mistakes(text: str) -> list[str]:
    with pytest.raises(ProgramError) as caught:
        parse_program(text)
    return [str(message) for message in caught.value.messages]


def in_rungs(text: str) -> list[str]:
    with pytest.raises(ProgramError) as caught:
        parse_rungs(text)
    return [str(message) for message in caught.value.messages]


def test_canonical_text_is_kept() -> None:
    assert print_program(parse_program(CANONICAL)) == CANONICAL


def test_the_documented_example_is_canonical() -> None:
    example = textwrap.dedent((text_form.__doc__ or "").partition("::")[2]).strip() + "\n"
    assert print_program(parse_program(example)) == example


@given(programs())
def test_text_gives_the_program_back(program: Program) -> None:
    text = print_program(program)
    assert parse_program(text) == program
    assert print_program(parse_program(text)) == text


@given(programs())
def test_rungs_and_networks_go_alone(program: Program) -> None:
    for rung in program.rungs:
        assert parse_rung(print_rung(rung)) == rung
        assert parse_network(print_network(rung.network)) == rung.network


@given(st.text(alphabet="aiIfF TNOTAD():=;,<>T#5s%X0.1/*\n[]", max_size=60))
def test_any_text_gives_rungs_or_a_message(text: str) -> None:
    try:
        rungs = parse_rungs(text)
    except ProgramError:
        return
    assert parse_rungs("\n".join(map(print_rung, rungs))) == rungs


def test_cases_and_spaces_do_not_matter() -> None:
    assert parse_rung("LAMP:=Start_PB and not(* wired NC *)Stop_PB & Delay.q;") == parse_rung(
        "// wired NC\nlamp := start_pb AND NOT stop_pb AND delay.Q;"
    )


def test_comments_belong_to_the_rung_they_touch() -> None:
    rung = parse_rung("// [R2] Above.\nlamp := a // inside\n  AND b; // behind")
    assert (rung.serves, rung.comment) == (("R2",), "Above.\ninside\nbehind")


def test_requirements_may_stand_behind_the_rung() -> None:
    rung = parse_rung("lamp := a; // [R2, R3] On.")
    assert (rung.serves, rung.comment) == (("R2", "R3"), "On.")


def test_parentheses_and_wires_vanish_in_the_normal_form() -> None:
    assert parse_network("((a)) AND TRUE AND (b AND (c))") == parse_network("a AND b AND c")
    assert parse_network("a OR (b OR (c))") == parse_network("a OR b OR c")
    assert parse_network("") == parse_network("TRUE") == Series()


def test_a_long_rung_is_broken_before_its_outermost_sign() -> None:
    contacts = tuple(Contact(ContactKind.OPEN, f"conveyor_section_{i}") for i in range(8))
    text = print_rung(Rung(Series(contacts)))
    assert text.splitlines()[1] == "    AND conveyor_section_1"
    assert parse_rung(text).network.items == contacts


@pytest.mark.parametrize(
    ("literal", "ms"),
    [
        # IEC 61131-3, duration literals (reference facts 1.4, from memory).
        ("T#2s500ms", 2500),
        ("TIME#2.5s", 2500),
        ("t#1h_30m", 5_400_000),
        ("T#90s", 90_000),
        ("T#1d", 86_400_000),
        ("T#0s", 0),
    ],
)
def test_durations_are_read(literal: str, ms: int) -> None:
    assert parse_duration(literal) == ms


@given(DURATIONS | st.integers(0, TIME_MAX_MS))
def test_durations_round_trip(ms: int) -> None:
    assert parse_duration(print_duration(ms)) == ms


@pytest.mark.parametrize(
    ("literal", "sentence"),
    [
        ("T#5", "Write a duration like T#2s500ms."),
        ("T#", "Write a duration like T#2s500ms."),
        ("T#5s2h", "The units of a duration go from large to small, each once."),
        ("T#1.5h20m", "Only the last unit of a duration may have a fraction."),
        ("T#0.5ms", "A duration is a whole number of milliseconds."),
        ("T#25h", "A duration is T#1d at most."),
        ("T#5w", "The units of a duration are d, h, m, s, ms, us and ns."),
    ],
)
def test_bad_durations(literal: str, sentence: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        parse_duration(literal)


def test_all_mistakes_are_told_at_once() -> None:
    text = """\
PROGRAM apple
VAR
  a : REAL;
  b : BOOL
  c AT %IX0.9 : BOOL;
  d : TON := 3;
END_VAR
a := b
c := d;
IF a THEN b := TRUE; c := END_IF;
e := NOT (a OR RISING(b));
é := d;
f := (a OR b;
g := delay(PT = 5);
x := 99999 > y;
x := T#5q > y;
x := NOT y > 3;
x := a__b;
IF a THEN END_IF;
// lost
END_PROGRAM
"""
    assert mistakes(text) == [
        "Line 3, column 7: The type 'REAL' is not known. "
        "The types are BOOL, INT, TIME, WORD, TON, TOF, TP, CTU, CTD, CTUD, R_TRIG, F_TRIG, "
        "SR, RS.",
        "Line 4, column 11: Expected ';' in the declaration of b, but the line ends after 'BOOL'.",
        "Line 5, column 8: The bit number in %IX0.9 is 9. A byte has the bits 0 to 7.",
        "Line 6, column 14: '3' is no initial value of a TON. A block has none: leave it out.",
        "Line 8, column 7: "
        "Expected ';' in the rung that begins on line 8, but the line ends after 'b'.",
        "Line 10, column 27: Expected TRUE, FALSE, a symbol or a number, found 'END_IF'.",
        "Line 11, column 16: No contact is the opposite of RISING(b). "
        "Drive an internal bit with it in a rung above, and take that bit here.",
        "Line 12, column 1: 'é' can't stand here. Leave it out, or put it into a comment.",
        "Line 12, column 3: Expected a contact, a comparison, a block or TRUE, found ':='.",
        "Line 13, column 13: Expected ')' for the '(' of line 13, column 6, found ';'.",
        "Line 14, column 15: Expected ':=' after PT in the call of delay, found '='.",
        "Line 15, column 6: The number '99999' is out of range. An INT goes from -32768 to 32767.",
        "Line 16, column 6: 'T#5q' is no duration. "
        "The units of a duration are d, h, m, s, ms, us and ns.",
        "Line 17, column 6: NOT stands before a comparison. "
        "For NOT a > b write a <= b, or NOT (a > b).",
        "Line 18, column 6: 'a__b' can't be a symbol. "
        "Write a letter first, then letters, digits and single underscores.",
        "Line 19, column 11: Expected an action like 'lamp := TRUE;' or END_IF "
        "in the rung that begins on line 19, found 'END_IF'.",
        "Line 20, column 1: The comment has no rung below it. "
        "Write ';' below it for an empty rung.",
    ]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Line 1, column 1: Expected 'PROGRAM' at the beginning, found the end of the text."),
        ("PROGRAM if", "Line 1, column 9: Expected the name of the program, found 'if'."),
        ("PROGRAM a", "Line 1, column 10: END_PROGRAM is missing. Write it below the last rung."),
        (
            "PROGRAM a END_PROGRAM b",
            "Line 1, column 23: The text goes on after END_PROGRAM. Hand in one program at a time.",
        ),
        (
            "PROGRAM a VAR x : BOOL; END_PROGRAM",
            "Line 1, column 25: END_VAR is missing: the VAR of line 1 is open. "
            "Write END_VAR below the last declaration.",
        ),
        (
            "PROGRAM a x := y; VAR END_VAR END_PROGRAM",
            "Line 1, column 19: 'VAR' stands among the rungs. Declare above the first rung.",
        ),
        (
            "PROGRAM a (* open",
            "Line 1, column 11: The comment that begins here is not closed. Close it with '*)'.",
        ),
        (
            "PROGRAM a VAR timer_value : BOOL; time : BOOL; END_VAR END_PROGRAM",
            "Line 1, column 35: The word 'time' has a meaning of its own and can't be a symbol. "
            "Choose another symbol.",
        ),
        (
            f"PROGRAM a VAR {'x' * 33} : BOOL; END_VAR END_PROGRAM",
            f"Line 1, column 15: The symbol '{'x' * 33}' has 33 characters. Use 32 at most.",
        ),
        (
            "PROGRAM a VAR <b>x</b> : BOOL; END_VAR END_PROGRAM",
            "Line 1, column 15: Expected a symbol to declare, found '<'.",
        ),
    ],
)
def test_messages_about_whole_programs(text: str, sentence: str) -> None:
    assert mistakes(text) == [sentence]


def test_2000_open_parentheses_get_one_sentence() -> None:
    assert in_rungs("lamp := " + "(" * 2000 + "a" + ")" * 2000 + ";") == [
        "Line 1, column 22: More than 12 parentheses are open. "
        "Build the rung with fewer branches inside each other."
    ]


def test_5000_rungs_get_one_sentence() -> None:
    assert in_rungs("a := b;\n" * 5000) == [
        "Line 401, column 1: The program has more than 400 rungs. Leave out what is not needed."
    ]


def test_too_many_declarations_get_one_sentence() -> None:
    declarations = "".join(f"x{i} : BOOL;\n" for i in range(5000))
    assert mistakes(f"PROGRAM a\nVAR\n{declarations}END_VAR\nEND_PROGRAM") == [
        "Line 403, column 1: The program declares more than 400 variables. "
        "Leave out what is not needed."
    ]


def test_a_long_text_is_not_read() -> None:
    assert in_rungs("x" * 10_000_000) == [
        "The text is larger than 500000 bytes. Leave out what is not needed."
    ]


def test_the_number_of_messages_is_bounded() -> None:
    assert len(in_rungs("a := ;\n" * 300)) == 20


def test_parse_rung_wants_one_rung() -> None:
    with pytest.raises(ProgramError, match=r"The text has 2 rungs\. Write one\."):
        parse_rung("a := b; c := d;")


def test_messages_are_located_in_the_text() -> None:
    source = parse_source(
        "PROGRAM p\nVAR\n  a : BOOL;\nEND_VAR\n"
        "x := a AND\n  (b OR NOT c AND d(PT := T#1s));\nIF a THEN y := TRUE;\n z := 1; END_IF;\n"
        "END_PROGRAM"
    )

    def located(place: Place) -> str:
        return str(source.locate(error("rule", place, "Here.")))

    assert located(Place(rung=0)) == "Line 5, column 1, rung 1: Here."
    assert (
        located(Place(rung=0, path=(1, 1, 0))) == "Line 6, column 9, rung 1, element 2.2.1: Here."
    )
    assert (
        located(Place(rung=0, path=(1, 1, 1))) == "Line 6, column 19, rung 1, element 2.2.2: Here."
    )
    assert located(Place(rung=1, output=1)) == "Line 8, column 2, rung 2, output 2: Here."
    assert located(Place(symbol="a")) == "Line 3, column 3: Here."
    assert located(Place(symbol="unknown")) == "Here."
