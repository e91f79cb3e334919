"""Every action does what it says and leaves a normal form, or is refused in one sentence."""

from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.ladder.actions import Action, edit, parse_action
from server.ladder.actions.base import Selection
from server.ladder.actions.copies import DuplicateRung, PasteElements, PasteRungs
from server.ladder.actions.elements import (
    AddBranch,
    ClearInput,
    DeleteBranch,
    DeleteElements,
    InsertElement,
    InsertParallel,
    MoveElement,
    SetContactKind,
    SetElement,
    SetSymbol,
)
from server.ladder.actions.outputs import DeleteOutput, MoveOutput
from server.ladder.actions.rungs import (
    AddRung,
    DeleteRung,
    MoveRung,
    SetComment,
    SetNetwork,
    SetRung,
    SetServes,
)
from server.ladder.actions.variables import (
    ChangeVariable,
    Declare,
    DeleteVariable,
    RenameVariable,
    free_symbol,
)
from server.ladder.elements import ContactKind
from server.ladder.json_form import from_json, to_json
from server.ladder.messages import ProgramError
from server.ladder.program import Contact, Path, Program, Variable, normal, walk
from server.ladder.text_form import (
    parse_element,
    parse_program,
    parse_rungs,
    print_network,
    print_output,
    print_rung,
)
from tests.strategies import programs

DECLARATIONS = """
a : BOOL; b : BOOL; c : BOOL; d : BOOL; lamp AT %QX0.0 : BOOL; n : INT; delay : TON; count : CTU;
"""
X = parse_element("x")


def program(*rungs: str) -> Program:
    text = "\n".join(rungs)
    return parse_program(f"PROGRAM trial VAR {DECLARATIONS} END_VAR\n{text}\nEND_PROGRAM")


def network_after(network: str, action: Action) -> tuple[str, Selection]:
    edited = edit(program(f"lamp := {network};"), action)
    return print_network(edited.program.rungs[0].network), edited.selection


def refused(start: Program, action: Action) -> str:
    with pytest.raises(ProgramError) as caught:
        edit(start, action)
    (message,) = caught.value.messages
    return str(message)


@pytest.mark.parametrize(
    ("before", "action", "after", "cursor"),
    [
        ("a", InsertElement(0, (0,), X), "a AND x", (1,)),
        ("a", InsertElement(0, (0,), X, "before"), "x AND a", (0,)),
        ("a", InsertElement(0, None, X), "a AND x", (1,)),
        ("a", InsertElement(0, None, X, "before"), "x AND a", (0,)),
        ("TRUE", InsertElement(0, None, X), "x", (0,)),
        ("a OR b", InsertElement(0, (0,), X), "(a OR b) AND x", (1,)),
        ("a OR b", InsertElement(0, (0, 1, 0), X), "a OR b AND x", (0, 1, 1)),
        ("a AND b AND c", InsertParallel(0, (1,), X), "a AND (b OR x) AND c", (1, 1, 0)),
        (
            "a AND b AND c",
            InsertParallel(0, (1,), X, (2,)),
            "a AND (b AND c OR x)",
            (1, 1, 0),
        ),
        (
            "a AND b AND c",
            InsertParallel(0, (2,), X, (1,)),
            "a AND (b AND c OR x)",
            (1, 1, 0),
        ),
        ("a AND b", InsertParallel(0, (0,), X, (1,)), "a AND b OR x", (0, 1, 0)),
        ("a OR b", InsertParallel(0, (0,), X), "a OR b OR x", (0, 2, 0)),
        ("a OR b", InsertParallel(0, (0, 0, 0), X), "a OR x OR b", (0, 1, 0)),
        ("a OR b OR c", AddBranch(0, (0, 0, 0), X), "a OR x OR b OR c", (0, 1, 0)),
        ("a OR b OR c", AddBranch(0, (0,), X), "a OR b OR c OR x", (0, 3, 0)),
        ("a AND b AND c", DeleteElements(0, (1,)), "a AND c", (1,)),
        ("a AND b AND c", DeleteElements(0, (2,)), "a AND b", (1,)),
        ("a AND b AND c", DeleteElements(0, (0,), (1,)), "c", (0,)),
        ("a", DeleteElements(0, (0,)), "TRUE", None),
        ("a AND (b OR c)", DeleteElements(0, (1, 0, 0)), "a AND c", (1,)),
        ("a AND (b OR c)", DeleteElements(0, (1,)), "a", (0,)),
        ("a AND (b OR c AND d)", DeleteElements(0, (1, 1, 0)), "a AND (b OR d)", (1, 1, 0)),
        ("a AND (b OR c OR d)", DeleteBranch(0, (1, 1, 0)), "a AND (b OR d)", (1, 1, 0)),
        ("a AND (b OR c AND d)", DeleteBranch(0, (1, 1, 1)), "a AND b", (1,)),
        ("a AND b AND c", MoveElement(0, (0,), 0, (2,)), "b AND c AND a", (2,)),
        ("a AND b AND c", MoveElement(0, (2,), 0, (0,), "before"), "c AND a AND b", (0,)),
        ("a AND b", MoveElement(0, (0,), 0, (0,)), "a AND b", (0,)),
        ("a AND b AND c", MoveElement(0, (0,), 0, (2,), "parallel"), "b AND (c OR a)",
         (1, 1, 0)),
        ("a AND (b OR c)", MoveElement(0, (1, 1, 0), 0, None, "before"), "c AND a AND b", (0,)),
        ("a AND a", MoveElement(0, (1,), 0, None, "before"), "a AND a", (0,)),
        ("a AND b", SetElement(0, (1,), parse_element("n > 3")), "a AND n > 3", (1,)),
        ("a", SetContactKind(0, (0,), ContactKind.RISING), "RISING(a)", (0,)),
        ("NOT a", SetSymbol(0, "Delay.q", (0,)), "NOT delay.Q", (0,)),
        ("delay(PT := T#1s)", SetSymbol(0, "pause_2", (0,)), "pause_2(PT := T#1s)", (0,)),
    ],
)  # fmt: skip
def test_network_edits(
    before: str, action: Action, after: str, cursor: tuple[int, ...] | None
) -> None:
    assert network_after(before, action) == (after, Selection(0, cursor))


def test_inputs_of_blocks() -> None:
    start = program("lamp := a AND count(PV := 3);")
    for wired, after in [
        ("PV := 5", "a AND count(PV := 5)"),
        ("r := NOT b", "a AND count(PV := 5, R := NOT b)"),
    ]:
        action = parse_action({"action": "set input", "rung": 0, "path": [1], "input": wired})
        start = edit(start, action).program
        assert print_network(start.rungs[0].network) == after
    start = edit(start, ClearInput(0, (1,), "PV")).program
    assert print_network(start.rungs[0].network) == "a AND count(R := NOT b)"


def test_moving_to_another_rung_takes_the_element_along() -> None:
    start = program("lamp := a AND delay(PT := T#1s);", "lamp := b;")
    edited = edit(start, MoveElement(0, (1,), 1, (0,), "parallel"))
    assert [print_network(rung.network) for rung in edited.program.rungs] == [
        "a",
        "b OR delay(PT := T#1s)",
    ]
    assert edited.selection == Selection(1, (0, 1, 0))


def test_outputs() -> None:
    start = program("lamp := a;")
    steps: list[tuple[dict[str, Any], list[str], int | None]] = [
        ({"action": "add output", "output": "b := TRUE"}, ["lamp", "b := TRUE"], 1),
        ({"action": "add output", "output": "NOT C"}, ["lamp", "NOT c", "b := TRUE"], 1),
        ({"action": "add output", "output": "n := n + 1"},
         ["lamp", "NOT c", "b := TRUE", "n := n + 1"], 3),
        ({"action": "set coil kind", "number": 0, "kind": "reset coil"},
         ["NOT c", "lamp := FALSE", "b := TRUE", "n := n + 1"], 1),
        ({"action": "set symbol", "output": 3, "symbol": "m"},
         ["NOT c", "lamp := FALSE", "b := TRUE", "m := n + 1"], 3),
        ({"action": "set symbol", "output": 1, "symbol": "d"},
         ["NOT c", "d := FALSE", "b := TRUE", "m := n + 1"], 1),
        ({"action": "set output", "number": 0, "output": "a"},
         ["a", "d := FALSE", "b := TRUE", "m := n + 1"], 0),
        ({"action": "delete output", "number": 3}, ["a", "d := FALSE", "b := TRUE"], 2),
        ({"action": "move output", "number": 2, "to": 1}, ["a", "b := TRUE", "d := FALSE"], 1),
        # Coils stay first, and there is nothing beyond the ends.
        ({"action": "move output", "number": 1, "to": -1}, ["a", "b := TRUE", "d := FALSE"], 1),
        ({"action": "move output", "number": 1, "to": 9}, ["a", "d := FALSE", "b := TRUE"], 2),
    ]  # fmt: skip
    for data, after, cursor in steps:
        start, selection = edit(start, parse_action({"rung": 0} | data))
        assert [print_output(output) for output in start.rungs[0].outputs] == after
        assert selection == Selection(0, output=cursor)


def rungs_after(action: Action) -> tuple[list[str], Selection]:
    edited = edit(program("a := b;", "// [R1] Two.\nb := c;", "c := d;"), action)
    return [print_rung(rung) for rung in edited.program.rungs], edited.selection


@pytest.mark.parametrize(
    ("action", "after", "cursor"),
    [
        (AddRung(1), ["a := b;", ";", "// [R1] Two.\nb := c;", "c := d;"], 1),
        (AddRung(99), ["a := b;", "// [R1] Two.\nb := c;", "c := d;", ";"], 3),
        (DeleteRung(2), ["a := b;", "// [R1] Two.\nb := c;"], 1),
        (DeleteRung(0), ["// [R1] Two.\nb := c;", "c := d;"], 0),
        (DeleteRung(0, 1), ["c := d;"], 0),
        (DeleteRung(2, 1), ["a := b;"], 0),
        (MoveRung(0, 2), ["// [R1] Two.\nb := c;", "c := d;", "a := b;"], 2),
        (MoveRung(2, 0), ["c := d;", "a := b;", "// [R1] Two.\nb := c;"], 0),
        (
            DuplicateRung(1),
            ["a := b;", "// [R1] Two.\nb := c;", "// [R1] Two.\nb := c;", "c := d;"],
            2,
        ),
        (SetComment(1, "New."), ["a := b;", "// [R1] New.\nb := c;", "c := d;"], 1),
        (SetServes(1, ()), ["a := b;", "// Two.\nb := c;", "c := d;"], 1),
        (SetNetwork(1, "a or b"), ["a := b;", "// [R1] Two.\nb := a OR b;", "c := d;"], 1),
        (SetRung(1, "a;"), ["a := b;", "a;", "c := d;"], 1),
        (
            PasteRungs(1, "x; // X\ny;"),
            ["a := b;", "// X\nx;", "y;", "// [R1] Two.\nb := c;", "c := d;"],
            1,
        ),
    ],
)
def test_rung_edits(action: Action, after: list[str], cursor: int) -> None:
    assert rungs_after(action) == (after, Selection(cursor))


def test_a_copied_rung_gets_blocks_of_its_own() -> None:
    start = program("lamp := a AND delay(PT := T#1s) AND NOT delay.Q;")
    copied = edit(start, DuplicateRung(0)).program
    assert print_rung(copied.rungs[1]) == "lamp := a AND delay_2(PT := T#1s) AND NOT delay_2.Q;"
    assert copied.variables[-1] == Variable("delay_2", "TON")
    rungs = "a := delay(PT := T#2s); b := delay(PT := T#3s); c := count(PV := 3);"
    pasted = edit(copied, PasteRungs(0, rungs))
    assert [print_rung(rung) for rung in pasted.program.rungs[:3]] == [
        "a := delay_3(PT := T#2s);",
        "b := delay_4(PT := T#3s);",
        "c := count(PV := 3);",
    ]


@pytest.mark.parametrize(
    ("path", "text", "after", "cursor"),
    [
        ((0,), "NOT x", "lamp := a AND NOT x AND (b OR c);", (1,)),
        (None, "x AND (y OR z)", "lamp := a AND (b OR c) AND x AND (y OR z);", (3, 1, 0)),
        ((1, 0, 0), "x AND y > 5", "lamp := a AND (b AND x AND y > 5 OR c);", (1, 0, 2)),
        ((1, 1, 0), "x OR y", "lamp := a AND (b OR c AND (x OR y));", (1, 1, 1, 1, 0)),
    ],
)
def test_pasted_elements(path: Path | None, text: str, after: str, cursor: Path) -> None:
    edited = edit(program("lamp := a AND (b OR c);"), PasteElements(0, path, text))
    assert print_rung(edited.program.rungs[0]) == after
    assert edited.selection == Selection(0, cursor)


def test_pasted_blocks_get_instances_of_their_own() -> None:
    start = program("lamp := a AND delay(PT := T#1s);", "horn := b;")
    pasted = edit(start, PasteElements(1, (0,), "delay(PT := T#1s) AND NOT delay.Q"))
    assert print_rung(pasted.program.rungs[1]) == (
        "horn := b AND delay_2(PT := T#1s) AND NOT delay_2.Q;"
    )
    # What was cut keeps its name.
    cut = edit(start, DeleteElements(0, (1,))).program
    moved = edit(cut, PasteElements(1, (0,), "delay(PT := T#1s)"))
    assert print_rung(moved.program.rungs[1]) == "horn := b AND delay(PT := T#1s);"


def test_variables() -> None:
    start = program("lamp := a AND delay(PT := T#1s) AND delay.ET > T#2s;")
    declared = edit(
        start,
        parse_action({"action": "declare", "variable": {"symbol": "New", "type": "INT"}}),
    )
    assert declared.program.variables[-1] == Variable("new", "INT")
    assert declared.selection == Selection(symbol="new")
    renamed = edit(start, RenameVariable("delay", "soak")).program
    assert print_rung(renamed.rungs[0]) == "lamp := a AND soak(PT := T#1s) AND soak.ET > T#2s;"
    changed = edit(start, ChangeVariable("a", Variable("go", "BOOL", "%IX0.3"))).program
    assert changed.variables[0] == Variable("go", "BOOL", "%IX0.3")
    assert print_rung(changed.rungs[0]).startswith("lamp := go AND")
    deleted = edit(start, DeleteVariable("b")).program
    assert "b" not in {variable.symbol for variable in deleted.variables}


def test_together_is_one_edit() -> None:
    action = parse_action(
        {
            "action": "together",
            "actions": [
                {"action": "declare", "variable": {"symbol": "x", "type": "BOOL"}},
                {"action": "insert element", "rung": 0, "path": None, "element": "NOT x"},
                {"action": "name program", "name": "Trial_2", "comment": "Second."},
            ],
        }
    )
    edited = edit(program("lamp := a;"), action).program
    assert print_rung(edited.rungs[0]) == "lamp := a AND NOT x;"
    assert (edited.name, edited.comment) == ("trial_2", "Second.")


def test_free_symbols() -> None:
    assert free_symbol("delay", {"delay"}) == "delay_2"
    assert free_symbol("delay_2", {"delay", "delay_2", "delay_3"}) == "delay_4"
    assert free_symbol("x" * 32, set()) == "x" * 30 + "_2"


@pytest.mark.parametrize(
    ("action", "sentence"),
    [
        (DeleteRung(7), "There is no rung 8. The program has 2."),
        (DuplicateRung(-1), "There is no rung 0. The program has 2."),
        (
            DeleteElements(0, (9,)),
            "Rung 1: There is no element 10. Choose one of the rung's elements.",
        ),
        (
            InsertElement(0, (1, 5, 0), X),
            "Rung 1: There is no element 2.6.1. Choose one of the rung's elements.",
        ),
        (
            SetElement(0, (1,), X),
            "Rung 1, element 2: This is a parallel. Choose an element in one of its branches.",
        ),
        (
            InsertParallel(0, (0,), X, (1, 0, 0)),
            "Rung 1, element 1: The selection begins and ends in different branches. "
            "Select elements of one branch.",
        ),
        (
            DeleteBranch(0, (0,)),
            "Rung 1, element 1: The element stands in no branch. "
            "Put an element in parallel with it.",
        ),
        (
            SetContactKind(1, (0,), ContactKind.OPEN),
            "Rung 2, element 1: The element is no contact. Choose a contact.",
        ),
        (
            ClearInput(0, (0,), "PT"),
            "Rung 1, element 1: The element is no block. Choose a block.",
        ),
        (
            SetSymbol(0, "<b>", (0,)),
            "Rung 1, element 1: '<b>' can't be a symbol. "
            "Write a letter first, then letters, digits and single underscores.",
        ),
        (
            SetSymbol(0, "delay.Q", output=0),
            "Rung 1, output 1: 'delay.Q' can't be a symbol. "
            "Write a letter first, then letters, digits and single underscores.",
        ),
        (DeleteOutput(0, 1), "Rung 1: There is no output 2. The rung has 1."),
        (DeleteVariable("a"), "a is used in rung 1. Take it out there first."),
        (
            DeleteVariable("delay"),
            "delay is used in rungs 1 and 2. Take it out there first.",
        ),
        (RenameVariable("zzz", "y"), "zzz is not declared. Choose a declared symbol."),
        (RenameVariable("a", "b"), "b is declared already. Choose another symbol."),
        (Declare(Variable("a", "BOOL")), "a is declared already. Choose another symbol."),
        (
            SetNetwork(0, "a AND"),
            "Line 1, column 6: Expected a contact, a comparison, a block or TRUE, "
            "found the end of the text.",
        ),
        (
            SetComment(0, "m" * 501),
            "Rung 1: The comment has 501 characters. At most 500 are allowed.",
        ),
        (PasteElements(0, (0,), " "), "Rung 1: There is no element in the text. Copy some first."),
        (
            PasteElements(0, (7,), "x"),
            "Rung 1: There is no element 8. Choose one of the rung's elements.",
        ),
        (
            PasteElements(0, None, "x AND"),
            "Line 1, column 6: Expected a contact, a comparison, a block or TRUE, "
            "found the end of the text.",
        ),
        (DeleteRung(0, 5), "There is no rung 6. The program has 2."),
        (
            PasteRungs(0, ";" * 399),
            "The program has 401 rungs. At most 400 are allowed.",
        ),
    ],
)
def test_refused_edits(action: Action, sentence: str) -> None:
    start = program("lamp := a AND (b OR delay.Q);", "delay(PT := T#1s);")
    assert refused(start, action) == sentence


@pytest.mark.parametrize(
    ("data", "sentences"),
    [
        (
            {"action": "explode"},
            "The action 'explode' is not known. Known are 'add rung', 'delete rung'",
        ),
        ({}, "The field 'action' is missing. Add it."),
        ({"action": "add rung"}, "The field 'at' is missing. Add it."),
        (
            {"action": "add rung", "at": 0, "why": 1},
            "The field 'why' is not known. Leave it out.",
        ),
        (
            {"action": "insert element", "rung": 0, "path": [0], "element": "a AND b"},
            "This is not one element. Write one, like NOT stop_pb.",
        ),
        (
            {"action": "insert element", "rung": 0, "path": [0], "element": 5},
            "This is no text. Write it like in the text form.",
        ),
        (
            {"action": "add output", "rung": 0, "output": "n + 1"},
            "Expected the end, found '+'.",
        ),
        (
            {"action": "declare", "variable": {"symbol": "<b>", "type": "BOOL"}},
            "'<b>' can't be a symbol. "
            "Write a letter first, then letters, digits and single underscores.",
        ),
        (
            {"action": "set serves", "rung": 0, "serves": ["x"]},
            "'x' is no requirement. Write it like R1 or R2a.",
        ),
    ],
)
def test_refused_action_data(data: dict[str, Any], sentences: str) -> None:
    with pytest.raises(ProgramError) as caught:
        parse_action(data)
    assert str(caught.value).startswith(sentences)


@st.composite
def edits(draw: st.DrawFn, start: Program) -> Action:
    """An action on a rung of the program, mostly one that can be done."""
    rung = draw(st.integers(0, len(start.rungs) - 1))
    paths = [path for path, _ in walk(start.rungs[rung].network)] or [(0,)]
    path = draw(st.sampled_from(paths))
    last = draw(st.sampled_from(paths))
    element = draw(st.sampled_from([X, Contact(ContactKind.CLOSED, "in_0")]))
    to_rung = draw(st.integers(0, len(start.rungs) - 1))
    to_paths = [to_path for to_path, _ in walk(start.rungs[to_rung].network)] or [(0,)]
    to_path = draw(st.sampled_from(to_paths))
    possible: list[Action] = [
        InsertElement(rung, path, element, "before"),
        InsertParallel(rung, path, element, last),
        AddBranch(rung, path, element),
        DeleteElements(rung, path, last),
        DeleteBranch(rung, path),
        MoveElement(rung, path, to_rung, to_path),
        MoveElement(rung, path, to_rung, to_path, "parallel"),
        SetElement(rung, path, element),
        DuplicateRung(rung),
        MoveRung(rung, to_rung),
        MoveOutput(rung, draw(st.integers(0, 2)), draw(st.integers(-1, 3))),
        DeleteOutput(rung, 0),
    ]
    return draw(st.sampled_from(possible))


@given(programs().filter(lambda program: program.rungs), st.data())
def test_any_edit_leaves_a_program_in_normal_form(start: Program, data: st.DataObject) -> None:
    before = to_json(start)
    action = data.draw(edits(start))
    try:
        edited, selection = edit(start, action)
    except ProgramError:
        return
    assert to_json(start) == before
    assert from_json(to_json(edited)) == edited
    for rung in edited.rungs:
        assert normal(rung.network) == rung.network
    if selection.path is not None and selection.rung is not None:
        paths = [path for path, _ in walk(edited.rungs[selection.rung].network)]
        assert selection.path in paths


@given(programs().filter(lambda program: program.rungs), st.data())
def test_moving_keeps_the_elements(start: Program, data: st.DataObject) -> None:
    places = [(n, path) for n, rung in enumerate(start.rungs) for path, _ in walk(rung.network)]
    if not places:
        return
    (rung, path), (to_rung, to_path) = (data.draw(st.sampled_from(places)) for _ in range(2))
    side: Literal["before", "parallel"] = data.draw(st.sampled_from(["before", "parallel"]))
    edited = edit(start, MoveElement(rung, path, to_rung, to_path, side)).program

    def elements(program: Program) -> list[str]:
        return sorted(repr(e) for rung in program.rungs for _, e in walk(rung.network))

    assert elements(edited) == elements(start)


@given(programs())
def test_renaming_there_and_back_is_the_identity(start: Program) -> None:
    for variable in start.variables:
        there = edit(start, RenameVariable(variable.symbol, "elsewhere")).program
        assert edit(there, RenameVariable("elsewhere", variable.symbol)).program == start


def test_an_operand_is_renamed_too() -> None:
    start = program("IF n > 3 THEN n := n + n; END_IF;")
    renamed = edit(start, RenameVariable("n", "bottles")).program
    assert renamed.rungs == parse_rungs("IF bottles > 3 THEN bottles := bottles + bottles; END_IF;")
