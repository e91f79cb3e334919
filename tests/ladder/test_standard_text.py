"""What IEC 61131-3's text writes is read as the rungs one would draw, or refused."""

import re
from math import fmod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.ladder.elements import INT_MAX, INT_MIN, CoilKind, ContactKind
from server.ladder.limits import MAX_MESSAGES
from server.ladder.messages import ProgramError
from server.ladder.names import KEYWORD_TABLE
from server.ladder.program import (
    AssignmentStatement,
    Calculated,
    Coil,
    Contact,
    Formula,
    Name,
    Number,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)
from server.ladder.text_form import parse_program, parse_rungs, parse_source, print_program
from server.ladder.text_printer import print_rung, print_variable
from server.ladder.validation import errors, validate
from tests.ladder.standard_texts import (
    DECLARATIONS,
    GOOD,
    GOOD_DECLARATIONS,
    REFUSED,
    REFUSED_DECLARATIONS,
)
from tests.reference import Controller

FIRST_LINE = DECLARATIONS.count("\n") + 1


def program_of(text: str) -> Program:
    return parse_program(f"{DECLARATIONS}{text}\nEND_PROGRAM")


def sentences(text: str) -> list[str]:
    with pytest.raises(ProgramError) as caught:
        parse_program(text)
    return [str(message) for message in caught.value.messages]


@pytest.mark.parametrize(("text", "drawn"), GOOD.values(), ids=GOOD.keys())
def test_a_standard_text_is_the_rungs_one_would_draw(text: str, drawn: str) -> None:
    program = program_of(text)
    assert [print_rung(rung) for rung in program.rungs] == [
        print_rung(rung) for rung in parse_rungs(drawn)
    ]
    assert " ".join(print_rung(rung) for rung in program.rungs) == drawn
    assert not errors(program)
    assert parse_program(print_program(program)) == program


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("MAX(m * 3, 10)", 21),
        ("LIMIT(0, m - 9, 5)", 0),
        ("ABS(m - 9) + 1", 3),
        ("SEL(a, m, MIN(4, m))", 7),
        ("(m + 2) MOD 5", 4),
    ],
)
def test_a_function_of_a_calculation_takes_several_assignments(text: str, value: int) -> None:
    controller = Controller(program_of(f"n := {text};"))
    controller.values["m"] = 7
    controller.scan({})
    assert controller.values["n"] == value


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("LIMIT(0, m)", "LIMIT takes three values, without names. Write LIMIT(a, b, c)."),
        ("ABS(m, k)", "ABS takes one value, without names. Write ABS(a)."),
    ],
)
def test_a_function_that_no_assignments_do_is_refused(text: str, message: str) -> None:
    (sentence,) = sentences(f"{DECLARATIONS}n := {text};\nEND_PROGRAM")
    assert message in sentence


@pytest.mark.parametrize("text", ["n := m MOD 4;", "n := MOD(m, 4);"])
def test_mod_is_the_remainder(text: str) -> None:
    """It has the sign of the left side (IEC 61131-3, from memory), as the C function fmod."""
    controller = Controller(program_of(text))
    for m in range(-9, 10):
        controller.values["m"] = m
        controller.scan({})
        assert controller.values["n"] == fmod(m, 4)


def test_there_are_enough_of_them() -> None:
    assert len(GOOD) >= 60
    assert len(REFUSED) >= 40


@pytest.mark.parametrize(("text", "sentence"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_no_rung_gets_one_sentence(text: str, sentence: str) -> None:
    found = sentences(f"{DECLARATIONS}{text}\nlamp := b;\nEND_PROGRAM")
    assert found == [f"Line {FIRST_LINE}, {sentence}"]


@pytest.mark.parametrize(("text", "sentence"), REFUSED_DECLARATIONS.items())
def test_what_is_no_declaration_gets_one_sentence(text: str, sentence: str) -> None:
    assert sentences(f"PROGRAM p\n{text}\nEND_PROGRAM") == [f"Line 2, {sentence}"]


@pytest.mark.parametrize(("text", "declared"), GOOD_DECLARATIONS.items())
def test_declarations_of_the_standard(text: str, declared: str) -> None:
    program = parse_program(f"PROGRAM p\nVAR\n{text}\nEND_VAR\nEND_PROGRAM")
    assert " ".join(map(print_variable, program.variables)) == declared
    assert parse_program(print_program(program)) == program


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "FUNCTION_BLOCK pump END_FUNCTION_BLOCK",
            "Line 1, column 1: FUNCTION_BLOCK is no program. "
            "Hand in one PROGRAM … END_PROGRAM, with its rungs in it.",
        ),
        (
            "PROGRAM task END_PROGRAM",
            "Line 1, column 9: The word 'task' has a meaning of its own and can't be a symbol. "
            "Choose another symbol.",
        ),
        (
            "PROGRAM p /* open",
            "Line 1, column 11: The comment that begins here is not closed. Close it with '*/'.",
        ),
        (
            "PROGRAM p (* (* *) open",
            "Line 1, column 11: The comment that begins here is not closed. Close it with '*)'.",
        ),
    ],
)
def test_whole_texts(text: str, sentence: str) -> None:
    assert sentences(text) == [sentence]


@pytest.mark.parametrize("word", sorted(KEYWORD_TABLE))
def test_the_whole_keyword_table_is_reserved(word: str) -> None:
    with pytest.raises(ProgramError):
        parse_program(f"PROGRAM p VAR {word.lower()} : BOOL; END_VAR END_PROGRAM")


def test_a_stored_text_may_have_a_later_keyword_as_a_symbol() -> None:
    text = "PROGRAM p VAR step : INT; END_VAR IF TRUE THEN step := step + 1; END_IF; END_PROGRAM"
    program = parse_source(text, stored=True).program
    assert "step is a keyword of IEC 61131-3. Give it another symbol." in [
        f"{message.text} {message.fix}" for message in validate(program)
    ]
    assert not errors(program)


def test_an_address_alone_needs_declarations() -> None:
    with pytest.raises(ProgramError, match=re.escape("No symbol is known here for %IX0.0.")):
        parse_rungs("lamp := %IX0.0;")


def test_an_output_of_another_type_stays_what_it_is() -> None:
    """Remedy: a wrong program must not become another one by being shown as text."""
    variables = (Variable("n", "INT"), Variable("m", "INT"), Variable("lamp", "BOOL"))
    rungs = (
        Rung(Series((Contact(ContactKind.OPEN, "m"),)), (Coil(CoilKind.COIL, "n"),)),
        Rung(
            Series(),
            (AssignmentStatement("lamp", Name("m")), AssignmentStatement("lamp", Number(1))),
        ),
    )
    program = Program("p", variables, rungs)
    assert parse_program(print_program(program)) == program


@pytest.mark.parametrize(
    "text",
    [
        "lamp := a" + " XOR a" * 60_000 + ";",
        "n := 1" + " + m" * 100_000 + ";",
        "IF a THEN n := 1; " * 20_000,
        "NOT " * 100_000,
        "IF a THEN n := 1;" + " ELSIF b THEN n := 2;" * 20_000 + " END_IF;",
        "IF a THEN " + "lamp := b; " * 40_000 + "END_IF;",
        "{" * 400_000,
        "[" * 400_000,
        "(*" * 200_000,
        "lamp := " + "AND(a, " * 50_000,
        "count(" * 60_000,
        "n := " + "-(" * 100_000 + "m;",
        "n := m" + " MOD 3" * 60_000 + ";",
    ],
)
def test_a_heavy_text_gets_few_sentences(text: str) -> None:
    """Threat: a text that is small to send and costly to read."""
    with pytest.raises(ProgramError) as caught:
        program_of(text)
    assert len(caught.value.messages) <= MAX_MESSAGES


# -- exactness: the rungs do what the expression says ------------------------------------------


def value_of(series: Series, bits: dict[str, bool]) -> bool:
    """Whether a network of contacts conducts."""
    result = True
    for item in series.items:
        match item:
            case Contact(ContactKind.OPEN, symbol):
                result &= bits[symbol]
            case Contact(ContactKind.CLOSED, symbol):
                result &= not bits[symbol]
            case Parallel(branches=branches):
                result &= any(value_of(branch, bits) for branch in branches)
            case other:
                raise AssertionError(other)
    return result


EXPRESSIONS = st.recursive(
    st.sampled_from(["a", "b", "c", "d"]),
    lambda inner: st.one_of(
        inner.map(lambda x: f"NOT ({x})"),
        st.tuples(inner, st.sampled_from(["AND", "OR", "XOR", "=", "<>"]), inner).map(
            # Two symbols alone are compared as numbers; a network is not.
            lambda parts: f"(NOT ({parts[0]})) {parts[1]} ({parts[2]})"
        ),
        st.tuples(inner, inner).map(lambda parts: f"AND({parts[0]}, OR({parts[1]}, a))"),
    ),
    max_leaves=5,
)
"""BOOL expressions over four symbols."""


def as_python(text: str) -> str:
    for ours, theirs in (
        ("<>", "!="),
        ("XOR", "^"),
        ("AND(", "both("),
        ("OR(", "either("),
        ("AND", "and"),
        ("OR", "or"),
        ("NOT", "not"),
    ):
        text = text.replace(ours, theirs)
    return re.sub(r"(?<![!=])=", "==", text)


@given(EXPRESSIONS, st.lists(st.booleans(), min_size=4, max_size=4))
def test_a_network_conducts_as_its_expression_says(text: str, states: list[bool]) -> None:
    bits = dict(zip("abcd", states, strict=True))
    functions = {"both": lambda x, y: x and y, "either": lambda x, y: x or y}
    wanted = eval(as_python(text), functions, dict(bits))
    try:
        (rung,) = program_of(f"lamp := ({text}) OR (c AND d);").rungs
    except ProgramError as refused:
        if {message.rule for message in refused.messages} == {"limit"}:
            return  # XOR in XOR may have more branches than a rung can.
        raise
    assert value_of(rung.network, bits) == (wanted or (bits["c"] and bits["d"]))


SMALL = st.integers(-20, 20)


@given(st.lists(st.tuples(st.sampled_from("+-*"), SMALL), max_size=4), SMALL, SMALL)
def test_a_chain_of_operators_gives_its_value(
    steps: list[tuple[str, int]], first: int, second: int
) -> None:
    text = f"({first} + {second})" + "".join(f" {sign} {number}" for sign, number in steps)
    (rung,) = program_of(f"n := {text};").rungs
    [output] = rung.outputs
    assert isinstance(output, AssignmentStatement)
    try:
        value = _exact(output.value)
    except OverflowError:
        return
    assert value == eval(text)


def _exact(value: Calculated) -> int:
    """Return the value in Python's own numbers. Raises OverflowError."""
    if isinstance(value, Number):
        return value.value
    assert isinstance(value, Formula)
    left, right = map(_exact, value.operands)
    of_sign = {"+": int.__add__, "-": int.__sub__, "*": int.__mul__}
    result = of_sign[str(value.operator)](left, right)
    if not INT_MIN <= result <= INT_MAX:
        raise OverflowError
    return result
