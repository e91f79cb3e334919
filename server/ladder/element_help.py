"""Which help belongs to which element of a program."""

from server.ladder.elements import (
    ASSIGNMENT_HELP,
    BLOCK_TYPES,
    COMPARISON_HELP,
    CoilKind,
    ContactKind,
    ElementHelp,
    Operator,
)
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Output,
    Program,
)

HELP: dict[str, ElementHelp] = {
    **{kind.value: kind.row.help for kind in ContactKind},
    "comparison": COMPARISON_HELP,
    **{kind.value: kind.row.help for kind in CoilKind},
    "assignment": ASSIGNMENT_HELP,
    **{operator.value: operator.row.help for operator in Operator if operator.row.help},
    **{block.name: block.help for block in BLOCK_TYPES.values()},
}
"""Help on every element, by the word that ``help_key`` gives, in the order of the help page."""


def help_key(element: Element | Output, program: Program) -> str | None:
    """Return where HELP has the element; None for a block whose instance is not declared."""
    match element:
        case Contact(kind, _) | Coil(kind, _):
            return kind.value
        case Comparison():
            return "comparison"
        case AssignmentStatement(_, _, operator):
            return operator.value if operator and operator.row.help else "assignment"
        case Block(instance, _):
            types = {variable.symbol: variable.type for variable in program.variables}
            found = types.get(instance)
            return found if found in BLOCK_TYPES else None
