"""The text form, written: one canonical text for each program."""

from collections.abc import Mapping
from itertools import groupby
from types import MappingProxyType

from server.ladder.durations import print_duration
from server.ladder.elements import CoilKind, ContactKind, Operator
from server.ladder.names import SERVES
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Item,
    Name,
    Number,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
    is_action,
)
from server.ladder.xml_names import MOVE

LINE_LENGTH = 100
"""A longer rung is broken before the AND or OR of its outermost series or parallel."""


def print_program(program: Program) -> str:
    """Return the whole program; ``parse_program`` gives it back."""
    parts = [_comment(program.comment) + f"PROGRAM {program.name}\n"]
    for retain, variables in groupby(program.variables, key=lambda variable: variable.retain):
        declarations = "".join(f"    {print_variable(variable)}\n" for variable in variables)
        parts[0] += f"VAR{' RETAIN' if retain else ''}\n{declarations}END_VAR\n"
    types = types_of(program)
    parts += [print_rung(rung, types) + "\n" for rung in program.rungs]
    return "\n".join(parts) + "END_PROGRAM\n"


def types_of(program: Program) -> dict[str, str]:
    """Return the type of each variable, as ``print_rung`` takes them."""
    return {variable.symbol: variable.type for variable in program.variables}


def print_variable(variable: Variable) -> str:
    """Return one declaration: ``count : INT := 3; // bottles in the case``."""
    address = f" AT {variable.address}" if variable.address else ""
    initial = "" if variable.initial is None else f" := {print_initial(variable)}"
    comment = f"  // {variable.comment}" if variable.comment else ""
    return f"{variable.symbol}{address} : {variable.type}{initial};{comment}"


def print_initial(variable: Variable) -> str:
    """Return the initial value as a literal of the variable's type."""
    value = variable.initial or 0
    match variable.type:
        case "BOOL":
            return "TRUE" if value else "FALSE"
        case "TIME":
            return print_duration(value)
        case "WORD":
            return print_operand(Number(value, 16))
        case _:
            return str(value)


def print_rung(rung: Rung, types: Mapping[str, str] = MappingProxyType({})) -> str:
    """Return the rung's comment lines and its statement, without a line end after it.

    Below declarations, whose ``types`` are given, ``n := m`` moves a number and gives a BOOL its
    state; an output on a variable of another type is written so that it stays what it is. So is
    ``w := a AND b`` where nothing says that w is a WORD.
    """
    comment = rung.comment
    if rung.serves or SERVES.match(comment):
        comment = f"[{', '.join(rung.serves)}] {comment}"
    return _comment(comment) + _statement(rung, types)


def print_network(network: Series) -> str:
    """Return a network alone; ``parse_network`` gives it back. A wire is TRUE."""
    return _series(network)


def print_element(element: Element) -> str:
    """Return one element: ``NOT stop_pb``, ``level > 500``, ``delay(PT := T#5s)``."""
    match element:
        case Contact(kind, symbol):
            return kind.row.text.format(symbol)
        case Comparison(left, relation, right):
            return f"{print_operand(left)} {relation} {print_operand(right)}"
        case Block(instance, inputs):
            return f"{instance}({', '.join(map(_input, inputs))})"


def print_output(output: Output) -> str:
    """Return one output: a coil in front of ``:=``, or an action between THEN and END_IF."""
    match output:
        case Coil(kind, symbol):
            return kind.row.text.format(symbol)
        case AssignmentStatement(target):
            return f"{target} := {print_value(output.value)}"


def print_value(value: Calculated) -> str:
    """Return the right side of an assignment, with parentheses only where they are needed."""
    if not isinstance(value, Formula):
        return print_operand(value)
    operator, row = value.operator, value.operator.row
    inner = []
    for place, each in enumerate(value.operands):
        # Of equal operators the left one is done first; NOT NOT would be read as nothing.
        least = row.binds + (place > 0 or not operator.infix)
        looser = isinstance(each, Formula) and each.operator.row.binds < least
        text = print_value(each)
        inner.append(f"({text})" if looser and not operator.called else text)
    return row.text.format(*inner)


def print_operand(operand: Operand) -> str:
    """Return a symbol, a number or a duration."""
    match operand:
        case Name(symbol):
            return symbol
        case Number(value, 10):
            return str(value)
        case Number(value, 16):
            return f"16#{value:04X}"
        case Number(value, base):
            return f"{base}#{value:{'o' if base == 8 else 'b'}}"
        case Duration(ms):
            return print_duration(ms)


def _input(wired: BlockInput) -> str:
    return f"{wired.pin} := {'NOT ' if wired.negated else ''}{print_operand(wired.operand)}"


def _comment(comment: str) -> str:
    return "".join(f"// {line}".rstrip() + "\n" for line in comment.splitlines())


def _statement(rung: Rung, types: Mapping[str, str]) -> str:
    if not rung.outputs and not rung.network.items:
        return ";"
    coils = ", ".join(print_output(output) for output in rung.outputs if not is_action(output))
    actions = " ".join(f"{_action(output, types)};" for output in rung.outputs if is_action(output))
    before = ("IF " if actions else "") + (f"{coils} := " if coils else "")
    after = f" THEN {actions} END_IF;" if actions else ";"
    line = before + _driving(rung, types) + after
    if len(line) <= LINE_LENGTH:
        return line
    match rung.network.items:
        case (Parallel(branches),):
            network = "\n    OR ".join(map(_series, branches))
        case items:
            network = "\n    AND ".join(map(_item, items)) or "TRUE"
    return before + network + after


def _driving(rung: Rung, types: Mapping[str, str]) -> str:
    match rung:
        case Rung(Series((Contact(ContactKind.OPEN, _),)), (Coil(CoilKind.COIL, symbol),)) if (
            types.get(symbol, "BOOL") != "BOOL"
        ):
            return f"TRUE AND {print_network(rung.network)}"
        case _:
            return print_network(rung.network)


def _action(output: Output, types: Mapping[str, str]) -> str:
    match output:
        case AssignmentStatement(target, left, None) if types.get(target) == "BOOL":
            return f"{target} := {MOVE}({print_value(left)})"
        case AssignmentStatement(target, _, Operator() as operator) if (
            operator.joins_bits and types.get(target) != "WORD"
        ):
            return f"{target} := {MOVE}({print_value(output.value)})"
        case _:
            return print_output(output)


def _series(series: Series) -> str:
    match series.items:
        case ():
            return "TRUE"
        case (Parallel(branches),):
            return " OR ".join(map(_series, branches))
        case items:
            return " AND ".join(map(_item, items))


def _item(item: Item) -> str:
    return f"({_series(Series((item,)))})" if isinstance(item, Parallel) else print_element(item)
