"""Symbols changed everywhere in a rung or a program."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias

from server.ladder.program import (
    AssignmentStatement,
    Block,
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
)

Renaming: TypeAlias = Callable[[str], str]


def rename(program: Program, old: str, new: str) -> Program:
    """Return the program with a symbol renamed in its declaration and wherever it is used."""

    def renamed(symbol: str) -> str:
        return new if symbol == old else symbol

    return replace(
        program,
        variables=tuple(replace(v, symbol=renamed(v.symbol)) for v in program.variables),
        rungs=tuple(rename_in_rung(rung, renamed) for rung in program.rungs),
    )


def rename_in_rung(rung: Rung, renamed: Renaming) -> Rung:
    """Return the rung with each declared symbol put through ``renamed``; block outputs follow."""

    def name(reference: str) -> str:
        symbol, dot, output = reference.partition(".")
        return renamed(symbol) + dot + output

    return replace(
        rung,
        network=_series(rung.network, name),
        outputs=tuple(_output(output, name) for output in rung.outputs),
    )


def _series(series: Series, name: Renaming) -> Series:
    return Series(tuple(_item(item, name) for item in series.items))


def _item(item: Item, name: Renaming) -> Item:
    match item:
        case Contact(kind, symbol):
            return Contact(kind, name(symbol))
        case Comparison(left, relation, right):
            return Comparison(_operand(left, name), relation, _operand(right, name))
        case Block(instance, inputs):
            wired = tuple(replace(each, operand=_operand(each.operand, name)) for each in inputs)
            return Block(name(instance), wired)
        case Parallel(branches):
            return Parallel(tuple(_series(branch, name) for branch in branches))


def _output(output: Output, name: Renaming) -> Output:
    match output:
        case Coil(kind, symbol):
            return Coil(kind, name(symbol))
        case AssignmentStatement(target):
            value = _calculated(output.value, name)
            return replace(output, target=name(target)).with_value(value)


def _calculated(value: Calculated, name: Renaming) -> Calculated:
    if isinstance(value, Formula):
        operands = tuple(_calculated(operand, name) for operand in value.operands)
        return replace(value, operands=operands)
    return _operand(value, name)


def _operand(operand: Operand, name: Renaming) -> Operand:
    return Name(name(operand.symbol)) if isinstance(operand, Name) else operand
