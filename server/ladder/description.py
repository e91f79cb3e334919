"""A rung in words, for whoever can't see its drawing.

The sentences have one strict form, so that the rung can be rebuilt from them: items of a series are
joined by ``, then``, a parallel says how many branches it has, numbers each, and says where it
ends. The comment comes last, because it may hold any words.
"""

from collections.abc import Mapping

from server.ladder.messages import Place
from server.ladder.names import listed
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Formula,
    Item,
    Name,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)
from server.ladder.text_printer import print_operand
from server.ladder.tree import item_at


def describe_rung(rung: Rung, program: Program) -> str:
    """Return what the rung's drawing shows: network, outputs, requirements, comment."""
    variables = {variable.symbol: variable for variable in program.variables}
    driven = "; ".join(_output(output, variables) for output in rung.outputs)
    sentences = [
        f"Power passes {_series(rung.network, variables)}.",
        f"It drives {driven or 'nothing'}.",
    ]
    if rung.serves:
        sentences.append(f"It serves {listed(rung.serves)}.")
    if rung.comment:
        sentences.append(f"Comment: {rung.comment}")
    return " ".join(sentences)


def describe_item(item: Item, program: Program) -> str:
    """Return one element, or a parallel with all its branches."""
    return _item(item, {variable.symbol: variable for variable in program.variables})


def describe_output(output: Output, program: Program) -> str:
    """Return one output."""
    return _output(output, {variable.symbol: variable for variable in program.variables})


def describe_place(place: Place, program: Program) -> str:
    """Return a place in words: 'rung 3, normally open contact start_pb at %IX0.0'."""
    if place.rung is None:
        return f"the declaration of {place.symbol}" if place.symbol else "the program"
    rung = program.rungs[place.rung]
    if place.path is not None:
        item = item_at(rung.network, place.path)
        return f"rung {place.rung + 1}, {describe_item(item, program)}"
    if place.output is not None:
        return f"rung {place.rung + 1}, {describe_output(rung.outputs[place.output], program)}"
    return f"rung {place.rung + 1}"


def _series(series: Series, variables: Mapping[str, Variable]) -> str:
    return ", then ".join(_item(item, variables) for item in series.items) or "a wire"


def _item(item: Item, variables: Mapping[str, Variable]) -> str:
    match item:
        case Contact(kind, symbol):
            return f"{kind} contact {_named(symbol, variables)}"
        case Comparison(left, relation, right):
            return (
                f"comparison {_operand(left, variables)} {relation.row.words} "
                f"{_operand(right, variables)}"
            )
        case Block(instance, inputs):
            declared = variables.get(instance)
            type_name = f"{declared.type} block" if declared else "block"
            wired = listed(_input(each, variables) for each in inputs) if inputs else ""
            return f"{type_name} {instance}" + (f" with {wired}" if wired else "")
        case Parallel(branches):
            numbered = (
                f"branch {number}: {_series(branch, variables)};"
                for number, branch in enumerate(branches, 1)
            )
            return f"parallel of {len(branches)} branches: {' '.join(numbered)} end of parallel"


def _input(wired: BlockInput, variables: Mapping[str, Variable]) -> str:
    negated = "not " if wired.negated else ""
    return f"{wired.pin} {negated}{_operand(wired.operand, variables)}"


def _output(output: Output, variables: Mapping[str, Variable]) -> str:
    match output:
        case Coil(kind, symbol):
            return f"{kind} {_named(symbol, variables)}"
        case AssignmentStatement(target):
            value = _value(output.value, variables)
            return f"assignment to {_named(target, variables)} of {value}"


def _value(value: Calculated, variables: Mapping[str, Variable]) -> str:
    """Return a value in words; a result in between stands in parentheses."""
    if not isinstance(value, Formula):
        return _operand(value, variables)
    told = (_value(each, variables) for each in value.operands)
    inner = (
        f"({words})" if isinstance(each, Formula) else words
        for each, words in zip(value.operands, told, strict=True)
    )
    return value.operator.row.words.format(*inner)


def _operand(operand: Operand, variables: Mapping[str, Variable]) -> str:
    if isinstance(operand, Name):
        return _named(operand.symbol, variables)
    return print_operand(operand)


def _named(symbol: str, variables: Mapping[str, Variable]) -> str:
    declared = variables.get(symbol)
    return f"{symbol} at {declared.address}" if declared and declared.address else symbol
