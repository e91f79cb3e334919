"""Each edit is told in one sentence, with what the checks object to since."""

from typing import Any

import pytest

from server.ladder.actions import edit, parse_action
from server.ladder.actions.base import Selection
from server.ladder.text_form import parse_program
from server.ladder.validation import validate
from server.web.editor.effects import effect_of, new_remarks, step_effect
from server.web.editor.rungs import rung_views

START = parse_program(
    "PROGRAM trial VAR start_pb AT %IX0.0 : BOOL; lamp AT %QX0.0 : BOOL; kept : BOOL; delay : TON;"
    " END_VAR kept := start_pb AND (kept OR lamp); lamp, kept := delay(PT := T#1s); END_PROGRAM"
)
VARIABLE = {"symbol": "x", "type": "INT"}


@pytest.mark.parametrize(
    ("action", "sentence"),
    [
        (
            {"action": "insert element", "rung": 0, "path": None, "element": "NOT start_pb"},
            "Added normally closed contact start_pb at %IX0.0 in rung 1.",
        ),
        (
            {"action": "insert parallel", "rung": 0, "first": [0], "element": "lamp"},
            "Added normally open contact lamp at %QX0.0 in parallel in rung 1.",
        ),
        (
            {"action": "add branch", "rung": 0, "path": [1, 0, 0], "element": "kept"},
            "Added normally open contact kept in parallel in rung 1.",
        ),
        (
            {"action": "add output", "rung": 0, "output": "lamp := TRUE"},
            "Added set coil lamp at %QX0.0 in rung 1.",
        ),
        (
            {"action": "paste elements", "rung": 1, "path": [0], "text": "kept AND lamp"},
            "Added normally open contact lamp at %QX0.0 in rung 2.",
        ),
        (
            {"action": "set element", "rung": 0, "path": [0], "element": "kept"},
            "Changed to normally open contact kept in rung 1.",
        ),
        ({"action": "set rung", "rung": 1, "text": "lamp := kept;"}, "Changed rung 2."),
        (
            {
                "action": "move element",
                "rung": 0,
                "path": [0],
                "to_rung": 1,
                "to_path": None,
            },
            "Moved normally open contact start_pb at %IX0.0 in rung 2.",
        ),
        (
            {"action": "delete elements", "rung": 0, "first": [0]},
            "Deleted normally open contact start_pb at %IX0.0 in rung 1.",
        ),
        (
            {"action": "delete elements", "rung": 0, "first": [0], "last": [1]},
            "Deleted several elements in rung 1.",
        ),
        ({"action": "delete output", "rung": 1, "number": 1}, "Deleted coil kept in rung 2."),
        ({"action": "add rung", "at": 1}, "Added rung 2."),
        ({"action": "paste rungs", "at": 2, "text": "a; b; c;"}, "Added rungs 3 to 5."),
        ({"action": "delete rung", "rung": 1}, "Deleted rung 2."),
        ({"action": "delete rung", "rung": 1, "last": 0}, "Deleted rungs 1 to 2."),
        ({"action": "move rung", "rung": 0, "to": 1}, "Moved rung 1: it is rung 2 now."),
        (
            {
                "action": "together",
                "actions": [
                    {"action": "set serves", "rung": 0, "serves": ["R1"]},
                    {"action": "set comment", "rung": 0, "comment": "Why."},
                ],
            },
            "Changed the comment of rung 1.",
        ),
        (
            {
                "action": "together",
                "actions": [
                    {"action": "paste rungs", "at": 2, "text": "lamp := kept AND start_pb;"},
                    {"action": "delete elements", "rung": 2, "first": [0]},
                ],
            },
            "Deleted normally open contact kept in rung 3.",
        ),
        ({"action": "declare", "variable": VARIABLE}, "Declared x as INT."),
        (
            {"action": "change variable", "symbol": "kept", "variable": VARIABLE},
            "Changed the declaration of kept.",
        ),
        ({"action": "name program", "name": "other"}, "The program is called other."),
    ],
)
def test_effects(action: dict[str, Any], sentence: str) -> None:
    asked = parse_action(action)
    assert effect_of(asked, START, edit(START, asked)) == sentence


def test_steps_back_and_forth() -> None:
    assert step_effect("Undone", Selection(rung=2)) == "Undone: rung 3 changed."
    assert step_effect("Redone", Selection()) == "Redone: the declarations changed."


def test_a_new_objection_is_told_once() -> None:
    action = parse_action({"action": "insert element", "rung": 0, "path": None, "element": "gone"})
    after = edit(START, action).program
    views = [tuple(rung_views(each, validate(each))) for each in (START, after)]
    told = new_remarks(views[0], views[1])
    assert told.startswith("Error: ")
    assert "gone" in told
    assert new_remarks(views[1], views[1]) == ""
