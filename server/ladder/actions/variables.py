"""Actions on declarations."""

import re
from collections.abc import Collection
from dataclasses import dataclass, replace
from itertools import count
from typing import Literal, TypeAlias

from server.ladder.actions.base import Edited, EditorAction, Selection, refuse
from server.ladder.fields import Symbol
from server.ladder.limits import MAX_SYMBOL_LENGTH
from server.ladder.messages import Place
from server.ladder.names import declared_fault, listed
from server.ladder.program import Declaration, Program, Variable
from server.ladder.references import cross_reference
from server.ladder.renaming import rename


@dataclass(frozen=True, slots=True)
class Declare(EditorAction):
    """Declare a variable after the others."""

    variable: Declaration
    action: Literal["declare"] = "declare"

    def apply(self, program: Program) -> Edited:
        _refuse_new(program, self.variable.symbol)
        variables = (*program.variables, self.variable)
        return _selected(replace(program, variables=variables), self.variable.symbol)


@dataclass(frozen=True, slots=True)
class ChangeVariable(EditorAction):
    """Change a declaration; a new symbol is carried through all rungs."""

    symbol: str
    variable: Declaration
    action: Literal["change variable"] = "change variable"

    def apply(self, program: Program) -> Edited:
        program = _renamed(program, self.symbol, self.variable.symbol)
        variables = tuple(
            self.variable if variable.symbol == self.variable.symbol else variable
            for variable in program.variables
        )
        return _selected(replace(program, variables=variables), self.variable.symbol)


@dataclass(frozen=True, slots=True)
class RenameVariable(EditorAction):
    """Give a variable another symbol, in its declaration and in all rungs."""

    symbol: str
    new: Symbol
    action: Literal["rename variable"] = "rename variable"

    def apply(self, program: Program) -> Edited:
        return _selected(_renamed(program, self.symbol, self.new), self.new)


@dataclass(frozen=True, slots=True)
class DeleteVariable(EditorAction):
    """Take a declaration out that no rung uses."""

    symbol: str
    action: Literal["delete variable"] = "delete variable"

    def apply(self, program: Program) -> Edited:
        variable = _variable(program, self.symbol)
        places = cross_reference(program)[self.symbol].all
        if places:
            numbers = sorted({place.rung + 1 for place in places if place.rung is not None})
            where = f"rung{'s' * (len(numbers) > 1)} {listed(map(str, numbers))}"
            refuse(
                Place(symbol=self.symbol),
                f"{self.symbol} is used in {where}.",
                "Take it out there first.",
            )
        left = tuple(each for each in program.variables if each is not variable)
        return Edited(replace(program, variables=left), Selection())


VariableAction: TypeAlias = Declare | ChangeVariable | RenameVariable | DeleteVariable


def free_symbol(like: str, taken: Collection[str]) -> str:
    """Return a symbol that nobody has, close to another: ``delay_2`` for ``delay``."""
    stem = re.sub(r"_?[0-9]+$", "", like)
    candidates = (
        f"{stem[: MAX_SYMBOL_LENGTH - len(str(number)) - 1].rstrip('_')}_{number}"
        for number in count(2)
    )
    return next(symbol for symbol in candidates if symbol not in taken)


def _renamed(program: Program, old: str, new: str) -> Program:
    _variable(program, old)
    if old != new:
        _refuse_new(program, new)
    return rename(program, old, new)


def _variable(program: Program, symbol: str) -> Variable:
    found = next((each for each in program.variables if each.symbol == symbol), None)
    if found is None:
        refuse(Place(symbol=symbol), f"{symbol} is not declared.", "Choose a declared symbol.")
    return found


def _refuse_new(program: Program, symbol: str) -> None:
    """Refuse a symbol that nobody may declare, or that is declared already."""
    if fault := declared_fault(symbol):
        refuse(Place(symbol=symbol), *fault)
    if any(variable.symbol == symbol for variable in program.variables):
        refuse(Place(symbol=symbol), f"{symbol} is declared already.", "Choose another symbol.")


def _selected(program: Program, symbol: str) -> Edited:
    return Edited(program, Selection(symbol=symbol))
