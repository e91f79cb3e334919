"""Edits of declarations."""

import re
from collections.abc import Collection
from dataclasses import replace
from itertools import count

from server.ladder import actions as act
from server.ladder.edited import Edited, Selection, refuse
from server.ladder.limits import MAX_SYMBOL_LENGTH
from server.ladder.messages import Place
from server.ladder.names import listed
from server.ladder.program import Program, Variable
from server.ladder.references import cross_reference
from server.ladder.renaming import rename


def declare(action: act.Declare, program: Program) -> Edited:
    _refuse_taken(program, action.variable.symbol)
    variables = (*program.variables, action.variable)
    return _selected(replace(program, variables=variables), action.variable.symbol)


def change(action: act.ChangeVariable, program: Program) -> Edited:
    program = _renamed(program, action.symbol, action.variable.symbol)
    variables = tuple(
        action.variable if variable.symbol == action.variable.symbol else variable
        for variable in program.variables
    )
    return _selected(replace(program, variables=variables), action.variable.symbol)


def rename_variable(action: act.RenameVariable, program: Program) -> Edited:
    return _selected(_renamed(program, action.symbol, action.new), action.new)


def delete(action: act.DeleteVariable, program: Program) -> Edited:
    variable = _variable(program, action.symbol)
    places = cross_reference(program)[action.symbol].all
    if places:
        numbers = sorted({place.rung + 1 for place in places if place.rung is not None})
        where = f"rung{'s' * (len(numbers) > 1)} {listed(map(str, numbers))}"
        refuse(
            Place(symbol=action.symbol),
            f"{action.symbol} is used in {where}.",
            "Take it out there first.",
        )
    left = tuple(each for each in program.variables if each is not variable)
    return Edited(replace(program, variables=left), Selection())


def free_symbol(like: str, taken: Collection[str]) -> str:
    """A symbol that nobody has, close to another: ``delay_2`` for ``delay``."""
    stem = re.sub(r"_?[0-9]+$", "", like)
    candidates = (
        f"{stem[: MAX_SYMBOL_LENGTH - len(str(number)) - 1].rstrip('_')}_{number}"
        for number in count(2)
    )
    return next(symbol for symbol in candidates if symbol not in taken)


def _renamed(program: Program, old: str, new: str) -> Program:
    _variable(program, old)
    if old != new:
        _refuse_taken(program, new)
    return rename(program, old, new)


def _variable(program: Program, symbol: str) -> Variable:
    found = next((each for each in program.variables if each.symbol == symbol), None)
    if found is None:
        refuse(Place(symbol=symbol), f"{symbol} is not declared.", "Choose a declared symbol.")
    return found


def _refuse_taken(program: Program, symbol: str) -> None:
    if any(variable.symbol == symbol for variable in program.variables):
        refuse(Place(symbol=symbol), f"{symbol} is declared already.", "Choose another symbol.")


def _selected(program: Program, symbol: str) -> Edited:
    return Edited(program, Selection(symbol=symbol))
