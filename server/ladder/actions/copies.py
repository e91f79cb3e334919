"""Actions that put copies into a program: a block in them gets an instance of its own."""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from server.ladder.actions.base import (
    Edited,
    EditorAction,
    insert_rungs,
    refuse,
    rung_at,
    with_rung,
)
from server.ladder.actions.elements import beside
from server.ladder.actions.variables import free_symbol
from server.ladder.messages import Place
from server.ladder.program import Block, Path, Program, Rung, Variable, walk
from server.ladder.references import cross_reference
from server.ladder.renaming import rename_in_rung
from server.ladder.text_form import parse_network, parse_rungs
from server.ladder.tree import path_of


@dataclass(frozen=True, slots=True)
class PasteRungs(EditorAction):
    """Put rungs in text form before the rung ``at``, their blocks under free names."""

    at: int
    text: str
    action: Literal["paste rungs"] = "paste rungs"

    def apply(self, program: Program) -> Edited:
        pasted: list[Rung] = []
        for rung in parse_rungs(self.text, program.variables):
            whole = replace(program, rungs=(*program.rungs, *pasted))
            variables, own = _with_own_blocks(whole, rung)
            program = replace(program, variables=variables)
            pasted.append(own)
        return insert_rungs(program, self.at, tuple(pasted))


@dataclass(frozen=True, slots=True)
class PasteElements(EditorAction):
    """Put elements in text form in series behind the item at ``path``, or at the end."""

    rung: int
    path: Path | None
    text: str
    action: Literal["paste elements"] = "paste elements"

    def apply(self, program: Program) -> Edited:
        rung = rung_at(program, self.rung)
        variables, own = _with_own_blocks(program, Rung(parse_network(self.text)))
        pasted = [element for _, element in walk(own.network)]
        if not pasted:
            refuse(Place(self.rung), "There is no element in the text.", "Copy some first.")
        network = beside(rung.network, self.rung, self.path, "after", own.network.items)
        rung = replace(rung, network=network)
        program = replace(program, variables=variables)
        return with_rung(program, self.rung, rung, path_of(rung.network, pasted[-1]))


@dataclass(frozen=True, slots=True)
class DuplicateRung(EditorAction):
    """Put a copy after the rung, its blocks under free names."""

    rung: int
    action: Literal["duplicate rung"] = "duplicate rung"

    def apply(self, program: Program) -> Edited:
        variables, copy = _with_own_blocks(program, rung_at(program, self.rung))
        return insert_rungs(replace(program, variables=variables), self.rung + 1, (copy,))


CopyAction: TypeAlias = PasteRungs | PasteElements | DuplicateRung


def _with_own_blocks(program: Program, rung: Rung) -> tuple[tuple[Variable, ...], Rung]:
    """Return the rung with free instances for blocks in use elsewhere, and all declarations.

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
