"""JSON to tree to JSON is the identity; what is refused is told by place, and pinned whole."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.ladder.elements import ContactKind
from server.ladder.json_form import Json, from_json, to_json
from server.ladder.messages import ProgramError
from server.ladder.program import Contact, Program, Rung, Series
from server.ladder.text_form import parse_program, parse_rung
from server.ladder.text_printer import print_program
from tests.ladder.test_text_form import CANONICAL
from tests.strategies import programs

EMPTY: Json = {"version": 1, "name": "empty"}


def refused(data: object) -> list[str]:
    with pytest.raises(ProgramError) as caught:
        from_json(data)
    return [str(message) for message in caught.value.messages]


@given(programs())
def test_json_gives_the_program_back(program: Program) -> None:
    data = to_json(program)
    assert from_json(data) == program
    assert from_json(json.loads(json.dumps(data))) == program


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2)
    ),
    max_leaves=4,
)


@given(programs(), ANYTHING, st.data())
def test_spoilt_data_gives_a_program_or_messages(
    program: Program, anything: object, data: st.DataObject
) -> None:
    spoilt: Any = to_json(program)
    node, key = spoilt, data.draw(st.sampled_from(sorted(spoilt)))
    while isinstance(node[key], dict | list) and node[key] and data.draw(st.booleans()):
        node = node[key]
        keys = sorted(node) if isinstance(node, dict) else list(range(len(node)))
        key = data.draw(st.sampled_from(keys))
    node[key] = anything
    try:
        read = from_json(spoilt)
    except ProgramError as caught:
        messages = caught.messages
    else:
        messages = ()
        assert from_json(to_json(read)) == read
    assert all(message.text and message.fix for message in messages)


def test_the_stored_form_of_version_1_stays_readable() -> None:
    """Written once and never changed: stored forms only grow."""
    stored = """{"version": 1, "name": "stored", "comment": "old", "variables": [
      {"symbol": "start", "type": "BOOL", "address": "%IX0.0", "initial": 1, "comment": "Start"},
      {"symbol": "n", "type": "INT", "retain": true}, {"symbol": "delay", "type": "TON"}],
      "rungs": [{"network": [
        {"element": "parallel", "branches": [
          [{"element": "contact", "kind": "normally open", "symbol": "start"}],
          [{"element": "comparison", "left": {"operand": "name", "symbol": "n"}, "relation": ">=",
            "right": {"operand": "number", "value": -3}}]]},
        {"element": "block", "instance": "delay", "inputs": [
          {"pin": "PT", "operand": {"operand": "duration", "ms": 1500}, "negated": false}]}],
        "outputs": [{"output": "coil", "kind": "set coil", "symbol": "lamp"},
          {"output": "assignment", "target": "n", "left": {"operand": "name", "symbol": "n"},
           "operator": "+", "right": {"operand": "number", "value": 1}}],
        "comment": "Counts.", "serves": ["R2a"]}]}"""
    text = """\
// old
PROGRAM stored
VAR
start AT %IX0.0 : BOOL := TRUE; // Start
END_VAR
VAR RETAIN n : INT; END_VAR
VAR delay : TON; END_VAR
// [R2a] Counts.
IF (start OR n >= -3) AND delay(PT := T#1.5s) THEN lamp := TRUE; n := n + 1; END_IF;
END_PROGRAM"""
    assert from_json(json.loads(stored)) == parse_program(text)


def test_what_has_its_default_is_left_out() -> None:
    assert to_json(Program("empty", rungs=(Rung(),))) == EMPTY | {"rungs": [{}]}
    assert len(json.dumps(to_json(parse_program(CANONICAL)))) < 4000


def test_symbols_are_folded() -> None:
    contact = {"element": "contact", "kind": "normally open", "symbol": "Delay.q"}
    program = from_json({"version": 1, "name": "Cases", "rungs": [{"network": [contact]}]})
    assert program.name == "cases"
    assert program.rungs[0].network == Series((Contact(ContactKind.OPEN, "delay.Q"),))


def test_everything_wrong_in_rungs_is_told_at_once() -> None:
    number = {"operand": "number", "value": 70_000}
    flag = {"operand": "number", "value": True}
    items: list[Any] = [
        {"element": "spring"},
        {"element": "contact", "kind": "bent", "symbol": "<b>x</b>"},
        {"kind": "normally open"},
        5,
        {"element": "comparison", "left": number, "relation": "=", "right": flag},
        {"element": "parallel", "branches": [[], [{"element": "block", "instance": "end_if"}], 7]},
        {
            "element": "block",
            "instance": "delay",
            "inputs": [
                {"pin": "PT", "operand": {"operand": "number", "value": 1}, "negated": True}
            ],
        },
    ]
    outputs = [
        {"output": "coil", "kind": "coil", "symbol": "delay.Q"},
        {"output": "assignment", "target": "n", "left": flag | {"value": 1}, "operator": "+"},
    ]
    rung = {"network": items, "outputs": outputs, "serves": ["first"], "colour": 1}
    assert refused(EMPTY | {"rungs": [{}, rung]}) == [
        "Rung 2, element 1: The element 'spring' is not known. "
        "Known are 'contact', 'comparison', 'block', 'parallel'.",
        "Rung 2, element 2: 'bent' can't stand in the field 'kind'. "
        "Known are 'normally open', 'normally closed', 'rising edge' or 'falling edge'.",
        "Rung 2, element 2: '<b>x</b>' can't be a symbol. "
        "Write a letter first, then letters, digits and single underscores.",
        "Rung 2, element 3: The field 'element' is missing. Add it.",
        "Rung 2, element 4: '5' can't stand in the field '3'. It should be an object with fields.",
        "Rung 2, element 5: '70000' can't stand in the field 'value'. "
        "It should be less than or equal to 65535.",
        "Rung 2, element 5: 'True' can't stand in the field 'value'. It should be a valid integer.",
        "Rung 2, element 6.2.1: The word 'end_if' has a meaning of its own and can't be a symbol. "
        "Choose another symbol.",
        "Rung 2, element 6: '7' can't stand in the field '2'. It should be a list.",
        "Rung 2, element 7: Only a symbol can be negated at an input. Leave 'negated' out.",
        "Rung 2, output 1: 'delay.Q' can't be a symbol. "
        "Write a letter first, then letters, digits and single underscores.",
        "Rung 2, output 2: The value of this assignment has 1 operands; + takes 2. "
        "Give left, right and third in this order, as many as it takes.",
        "Rung 2: 'first' is no requirement. Write it like R1 or R2a.",
        "Rung 2: The field 'colour' is not known. Leave it out.",
    ]


def test_everything_wrong_in_declarations_is_told_at_once() -> None:
    variables = [
        {"symbol": "if", "type": "BOOL"},
        {"symbol": "a", "type": "REAL"},
        {"symbol": "b", "type": "TON", "initial": 3},
        {"symbol": "c", "type": "BOOL", "address": "%IW3"},
        {"symbol": "d", "type": "INT", "initial": 70_000},
        {"symbol": "e", "type": "TIME", "address": "%IX0.0"},
    ]
    assert refused(EMPTY | {"variables": variables}) == [
        "Declaration 1: The word 'if' has a meaning of its own and can't be a symbol. "
        "Choose another symbol.",
        "Declaration 2: The type 'REAL' is not known. "
        "Known are BOOL, INT, TIME, WORD, TON, TOF, TP, CTU, CTD, CTUD, R_TRIG, F_TRIG, SR, RS.",
        "Declaration 3: b is a block with an initial value. Leave it out.",
        "Declaration 4: '%IW3' is no direct address of a BOOL. "
        "Write it like %IX0.0, %QX0.1 or %MX0.0.",
        "Declaration 5: 70000 is no initial value of an INT. It goes from -32768 to 32767.",
        "Declaration 6: A TIME can't have a direct address. Declare it without AT.",
    ]


@pytest.mark.parametrize(
    ("data", "sentences"),
    [
        ({}, ["The field 'name' is missing. Add it.", "The field 'version' is missing. Add it."]),
        (
            [],
            ["This can't stand in the field 'program'. It should be an object with fields."],
        ),
        (
            {"version": 2, "name": "later"},
            ["'2' can't stand in the field 'version'. Known are 1."],
        ),
    ],
)
def test_what_is_no_program(data: object, sentences: list[str]) -> None:
    assert refused(data) == sentences


def test_5000_rungs_get_one_sentence() -> None:
    assert refused(EMPTY | {"rungs": [{}] * 5000}) == [
        "There are more than 400 rungs. Leave some out."
    ]


@pytest.mark.parametrize("depth", [100, 2000, 50_000])
def test_too_many_nested_branches_get_one_sentence(depth: int) -> None:
    network: list[Json] = []
    for _ in range(depth):
        network = [{"element": "parallel", "branches": [network, []]}]
    assert refused(EMPTY | {"rungs": [{"network": network}]}) == [
        "More than 100 lists and objects stand inside each other. "
        "A rung may have 12 branches inside each other."
    ]


def test_20_nested_branches_get_one_sentence() -> None:
    contact = {"element": "contact", "kind": "normally open", "symbol": "x"}
    network: list[Json] = []
    for _ in range(20):
        network = [{"element": "parallel", "branches": [[*network, contact], []]}]
    assert refused(EMPTY | {"rungs": [{"network": network}]}) == [
        "Rung 1: The rung has 20 branches inside each other. At most 12 are allowed."
    ]


def test_a_long_rung_and_a_long_comment_are_told_together() -> None:
    contact = {"element": "contact", "kind": "normally open", "symbol": "x"}
    long_rung = {"network": [contact] * 201, "comment": "m" * 501}
    assert refused(EMPTY | {"rungs": [long_rung]}) == [
        "Rung 1: The rung has 201 elements and outputs. At most 200 are allowed.",
        "Rung 1: The comment has 501 characters. At most 500 are allowed.",
    ]


@pytest.mark.parametrize(
    ("number", "written"),
    [
        ({"value": 40000}, "16#9C40"),
        ({"value": 40000, "base": 10}, "16#9C40"),
        ({"value": -5, "base": 16}, "-5"),
    ],
)
def test_a_number_of_json_is_one_that_the_text_form_reads(
    number: dict[str, int], written: str
) -> None:
    left = {"operand": "name", "symbol": "w"}
    compared = {"element": "comparison", "left": left, "relation": "="}
    right = {"operand": "number", **number}
    rung = {"network": [{**compared, "right": right}]}
    program = from_json(EMPTY | {"rungs": [rung]})
    assert f"w = {written}" in print_program(program)
    assert parse_rung(f"w = {written};") == program.rungs[0]
