"""The rows of the language: each element can be written, read back, and told from the others."""

import pytest

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind, Operator, Relation
from server.ladder.elements.rows import Rows
from server.ladder.names import RESERVED
from server.ladder.program import AssignmentStatement, Coil, Comparison, Contact, Name, Number
from server.ladder.text_form import (
    parse_element,
    parse_output,
    parse_program,
    print_element,
    print_output,
    print_program,
)
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
