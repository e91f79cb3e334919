"""Edits of whole rungs."""

from dataclasses import replace

from server.ladder import actions as act
from server.ladder.edited import Edited, Selection, rung_at, with_rung
from server.ladder.program import Block, Program, Rung, Variable, walk
from server.ladder.references import cross_reference
from server.ladder.renaming import rename_in_rung
from server.ladder.text_form import parse_network, parse_rung, parse_rungs
from server.ladder.variable_edits import free_symbol


def add(action: act.AddRung, program: Program) -> Edited:
    return _inserted(program, action.at, (Rung(),))


def paste(action: act.PasteRungs, program: Program) -> Edited:
    pasted: list[Rung] = []
    for rung in parse_rungs(action.text):
        whole = replace(program, rungs=(*program.rungs, *pasted))
        variables, own = _with_own_blocks(whole, rung)
        program = replace(program, variables=variables)
        pasted.append(own)
    return _inserted(program, action.at, tuple(pasted))


def duplicate(action: act.DuplicateRung, program: Program) -> Edited:
    variables, copy = _with_own_blocks(program, rung_at(program, action.rung))
    return _inserted(replace(program, variables=variables), action.rung + 1, (copy,))


def delete(action: act.DeleteRung, program: Program) -> Edited:
    left = _without(program, action.rung)
    follower = min(action.rung, len(left.rungs) - 1) if left.rungs else None
    return Edited(left, Selection(rung=follower))


def move(action: act.MoveRung, program: Program) -> Edited:
    moved = rung_at(program, action.rung)
    return _inserted(_without(program, action.rung), action.to, (moved,))


def set_rung(action: act.SetRung, program: Program) -> Edited:
    rung_at(program, action.rung)
    return with_rung(program, action.rung, parse_rung(action.text))


def set_network(action: act.SetNetwork, program: Program) -> Edited:
    rung = rung_at(program, action.rung)
    return with_rung(program, action.rung, replace(rung, network=parse_network(action.text)))


def set_comment(action: act.SetComment, program: Program) -> Edited:
    rung = rung_at(program, action.rung)
    return with_rung(program, action.rung, replace(rung, comment=action.comment))


def set_serves(action: act.SetServes, program: Program) -> Edited:
    rung = rung_at(program, action.rung)
    return with_rung(program, action.rung, replace(rung, serves=action.serves))


def _inserted(program: Program, at: int, rungs: tuple[Rung, ...]) -> Edited:
    at = max(0, min(at, len(program.rungs)))
    together = (*program.rungs[:at], *rungs, *program.rungs[at:])
    return Edited(replace(program, rungs=together), Selection(rung=at if rungs else None))


def _without(program: Program, index: int) -> Program:
    rung_at(program, index)
    return replace(program, rungs=(*program.rungs[:index], *program.rungs[index + 1 :]))


def _with_own_blocks(program: Program, rung: Rung) -> tuple[tuple[Variable, ...], Rung]:
    """The rung with a free instance for each block that another rung uses, and all declarations.

    A block stands in one place only, so a copy needs instances of its own.
    """
    declared = {variable.symbol: variable for variable in program.variables}
    in_use = {symbol for symbol, uses in cross_reference(program).items() if uses.calls}
    own: dict[str, Variable] = {}
    for _, element in walk(rung.network):
        if isinstance(element, Block) and element.instance in in_use & declared.keys():
            variable = declared[element.instance]
            taken = {*declared, *(each.symbol for each in own.values())}
            own[variable.symbol] = replace(variable, symbol=free_symbol(variable.symbol, taken))
    renamed = rename_in_rung(rung, lambda name: own[name].symbol if name in own else name)
    return (*program.variables, *own.values()), renamed
