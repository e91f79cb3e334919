"""What changed between two programs: every rung is told once, in order."""

from hypothesis import given
from hypothesis import strategies as st

from server.ladder.comparison import ChangeKind, compare, describe_change
from server.ladder.program import Program, Variable
from server.ladder.text_form import parse_program
from tests.strategies import programs


def program(*rungs: str) -> Program:
    text = "\n".join(rungs)
    return parse_program(f"PROGRAM p VAR a AT %IX0.0 : BOOL; n : INT; END_VAR\n{text}\nEND_PROGRAM")


BEFORE = program(
    "lamp := a AND b;",
    "// Same.\nx := c;",
    "pump := (a OR b) AND c AND d;",
    "gone := e;",
    "last := f;",
)
AFTER = program(
    "new := g AND h;",
    "lamp := a AND NOT b;",
    "// Same.\nx := c;",
    "// [R1] Now with a comment.\npump := (a OR b) AND d AND e;",
    "last := f;",
)


def test_rows_and_words() -> None:
    rows = compare(BEFORE, AFTER).rungs
    assert [(row.change, row.before, row.after) for row in rows] == [
        (ChangeKind.ADDED, None, 0),
        (ChangeKind.CHANGED, 0, 1),
        (ChangeKind.SAME, 1, 2),
        (ChangeKind.CHANGED, 2, 3),
        (ChangeKind.REMOVED, 3, None),
        (ChangeKind.SAME, 4, 4),
    ]
    assert rows[1].elements_before == rows[1].elements_after == ((1,),)
    assert [describe_change(row, BEFORE, AFTER) for row in rows] == [
        "Rung 1 added.",
        "Rung 2, before rung 1, changed: added normally closed contact b; "
        "removed normally open contact b.",
        "Rung 3, before rung 2, is the same.",
        "Rung 4, before rung 3, changed: added normally open contact e; "
        "removed normally open contact c; another comment; other requirements.",
        "Rung 4 removed.",
        "Rung 5 is the same.",
    ]


def test_branches_and_outputs_in_words() -> None:
    before = program("x := a AND b;", "IF a THEN x := TRUE; y := TRUE; END_IF;")
    after = program("x := a OR b;", "IF a THEN y := TRUE; n := n + 1; END_IF;")
    assert [describe_change(row, before, after) for row in compare(before, after).rungs] == [
        "Rung 1 changed: other branches.",
        "Rung 2 changed: added assignment to n of n plus 1; removed set coil x.",
    ]


def test_declarations() -> None:
    before = Program("p", (Variable("a", "BOOL"), Variable("b", "INT"), Variable("c", "INT")))
    after = Program("p", (Variable("a", "BOOL"), Variable("c", "TIME"), Variable("d", "INT")))
    changes = compare(before, after).variables
    assert [(row.change, row.before, row.after) for row in changes] == [
        (ChangeKind.REMOVED, Variable("b", "INT"), None),
        (ChangeKind.CHANGED, Variable("c", "INT"), Variable("c", "TIME")),
        (ChangeKind.ADDED, None, Variable("d", "INT")),
    ]


@given(programs())
def test_a_program_is_the_same_as_itself(one: Program) -> None:
    assert compare(one, one).same


@given(programs(), programs(), st.data())
def test_every_rung_is_told_once_in_order(
    one: Program, other: Program, data: st.DataObject
) -> None:
    mixed = [data.draw(st.sampled_from([*one.rungs, *other.rungs])) for _ in one.rungs]
    after = Program("mixed", other.variables, tuple(mixed))
    rows = compare(one, after).rungs
    assert [row.before for row in rows if row.before is not None] == list(range(len(one.rungs)))
    assert [row.after for row in rows if row.after is not None] == list(range(len(after.rungs)))
    for row in rows:
        if row.before is not None and row.after is not None:
            same = one.rungs[row.before] == after.rungs[row.after]
            assert same == (row.change is ChangeKind.SAME)
        assert describe_change(row, one, after).endswith(".")
