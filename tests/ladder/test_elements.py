"""The rows of the language: each element can be written, read back, and told from the others."""

import pytest

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind, Operator, Relation
from server.ladder.elements.rows import Rows
from server.ladder.json_form import from_json, to_json
from server.ladder.limits import MAX_OPERATORS
from server.ladder.messages import ProgramError
from server.ladder.names import RESERVED
from server.ladder.program import (
    AssignmentStatement,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Formula,
    Name,
    Number,
    Program,
    Rung,
)
from server.ladder.text_form import (
    parse_element,
    parse_output,
    parse_program,
    parse_rung,
    print_element,
    print_output,
    print_program,
    print_rung,
)
from server.ladder.validation import errors
from server.ladder.xml_names import MOVE

A, TWO = Name("a"), Number(2)


@pytest.mark.parametrize("kind", ContactKind)
def test_contacts_are_read_as_they_are_written(kind: ContactKind) -> None:
    assert parse_element(print_element(Contact(kind, "a"))) == Contact(kind, "a")


@pytest.mark.parametrize("kind", CoilKind)
def test_coils_are_read_as_they_are_written(kind: CoilKind) -> None:
    assert parse_output(print_output(Coil(kind, "a"))) == Coil(kind, "a")


@pytest.mark.parametrize("relation", Relation)
def test_comparisons_are_read_as_they_are_written(relation: Relation) -> None:
    comparison = Comparison(A, relation, TWO)
    assert parse_element(print_element(comparison)) == comparison


@pytest.mark.parametrize("operator", Operator)
def test_assignments_are_read_as_they_are_written(operator: Operator) -> None:
    operands = [TWO if pin.type == "INT" else A for pin in operator.row.pins]
    assignment = AssignmentStatement("n", A, operator).with_operands(*operands)
    assert parse_output(print_output(assignment)) == assignment


def test_every_word_of_the_language_is_reserved() -> None:
    """Remedy: a word that programs may have as a symbol can't become an operator or a block."""
    between = {str(operator) for operator in Operator if operator.infix and operator.isidentifier()}
    assert between | BLOCK_TYPES.keys() <= RESERVED


def test_the_name_of_a_function_may_be_a_symbol() -> None:
    """Remedy: what was a symbol in a stored program stays one, as a number and as a block."""
    text = "PROGRAM p VAR min : INT; limit : TON; a AT %IX0.0 : BOOL; END_VAR {} END_PROGRAM"
    for rung in ("min := MIN(min, 3);", "a AND limit(PT := T#1s);", "min := min + 1;"):
        program = parse_program(text.format(rung))
        assert parse_program(print_program(program)) == program


def test_no_two_elements_have_the_same_form() -> None:
    compare, calculate = [r.row.xml for r in Relation], [o.row.xml for o in Operator]
    names = [*compare, *calculate, MOVE, *BLOCK_TYPES]
    assert len(set(names)) == len(names)
    for kinds in (ContactKind, CoilKind):
        texts = [kind.row.text for kind in kinds]
        attributes = [tuple(kind.row.xml.items()) for kind in kinds]
        assert len(set(texts)) == len(set(attributes)) == len(kinds)


def test_a_relation_is_mirrored_and_changes_where_its_row_says() -> None:
    for relation in Relation:
        for left in range(-2, 3):
            assert relation.holds(left, 0) is relation.mirrored.holds(0, left)
        changes = {n for n in range(-2, 3) if relation.holds(n - 1, 0) != relation.holds(n, 0)}
        assert changes == set(relation.edges)


def test_an_element_without_a_row_is_refused() -> None:
    with pytest.raises(TypeError, match="SQRT has no row"):
        Rows("Forgotten", [("SQRT", "SQRT")])


WORDS = "PROGRAM p VAR a AT %IX0.0 : BOOL; n : INT; w : WORD; v : WORD; END_VAR {} END_PROGRAM"


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("a := w.3;", "a := w.%X3;"),
        ("W.%x03 := a;", "w.%X3 := a;"),
        ("w := v AND 16#f;", "IF TRUE THEN w := v AND 16#000F; END_IF;"),
        ("w := NOT v;", "IF TRUE THEN w := NOT v; END_IF;"),
        ("w := (v OR 2#11) XOR w;", "IF TRUE THEN w := (v OR 2#11) XOR w; END_IF;"),
        ("w := NOT (NOT v AND w);", "IF TRUE THEN w := NOT (NOT v AND w); END_IF;"),
        (
            "n := 2 * WORD_TO_INT(SHL(v, n + 1));",
            "IF TRUE THEN n := 2 * WORD_TO_INT(SHL(v, n + 1)); END_IF;",
        ),
        ("w := AND(v, WORD#5);", "IF TRUE THEN w := v AND 5; END_IF;"),
        ("IF a THEN w.0 := TRUE; END_IF;", "IF a THEN w.%X0 := TRUE; END_IF;"),
        ("w := SEL(a, v, 16#FFFF);", "IF TRUE THEN w := SEL(a, v, 16#FFFF); END_IF;"),
        ("a := n = 16#10 AND w = 16#FFFF;", "a := n = 16#0010 AND w = 16#FFFF;"),
    ],
)
def test_what_is_written_on_words(written: str, read: str) -> None:
    """Partial access of IEC 61131-3, edition 3, with and without its %X (from memory)."""
    program = parse_program(WORDS.format(written))
    assert print_program(program).splitlines()[-2] == read
    assert from_json(to_json(program)) == program
    # A rung that is alone, without a declaration that tells what a WORD is, stays what it is.
    assert parse_rung(print_rung(program.rungs[0])) == program.rungs[0]
    assert parse_rung(read, program.variables) == program.rungs[0]


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("n := 16#FFFF;", "16#FFFF is a WORD; an assignment needs an INT. "),
        ("n := w;", "w is a WORD; an assignment needs an INT. "),
        ("w := n;", "n is an INT; its IN needs a WORD. Take a WORD, or convert an INT with "),
        ("w := -1;", "-1 is an INT; its IN needs a WORD. "),
        ("n := SHL(w, 1);", "n is an INT; SHL in an assignment needs a WORD. "),
        ("w := ABS(n);", "w is a WORD; an assignment needs an INT. "),
        ("a := w = n;", "w is a WORD and n an INT. Convert one of them, like WORD_TO_INT."),
        ("a := n.%X3;", "n is an INT; only a WORD has bits with a number. "),
        ("a := w;", "w is a WORD; a contact needs a BOOL. "),
        ("n := 1 + SHL(w, 1);", "SHL(w, 1) gives a WORD; here it needs an INT. Convert it"),
        ("w := SEL(n + 1, w, w);", "n + 1 gives an INT; here it needs a BOOL. Give it a symbol."),
        ("w := SHL(w, w AND 1);", "w AND 1 gives a WORD; here it needs an INT. "),
    ],
)
def test_what_does_not_fit_a_word(written: str, message: str) -> None:
    found = errors(parse_program(WORDS.format(written)))
    assert any(message in str(each) for each in found), list(map(str, found))


def test_a_stored_assignment_has_no_more_operators_than_a_written_one() -> None:
    value: Calculated = TWO
    for _ in range(MAX_OPERATORS + 1):
        value = Formula(Operator.ADD, (value, TWO))
    rung = Rung(outputs=(AssignmentStatement("n", TWO).with_value(value),))
    with pytest.raises(ProgramError, match=r"The assignment has 13 operators\. At most 12 are"):
        from_json(to_json(Program("p", rungs=(rung,))))


def test_a_word_has_sixteen_bits() -> None:
    with pytest.raises(ProgramError, match=r"names bit 16\. A WORD has the bits 0 to 15\."):
        parse_program(WORDS.format("a := w.16;"))
