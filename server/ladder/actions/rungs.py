"""Actions on whole rungs."""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from server.ladder.actions.base import Edited, EditorAction, Selection, rung_at, with_rung
from server.ladder.actions.variables import free_symbol
from server.ladder.fields import Requirement
from server.ladder.program import Block, Program, Rung, Variable, walk
from server.ladder.references import cross_reference
from server.ladder.renaming import rename_in_rung
from server.ladder.text_form import parse_network, parse_rung, parse_rungs


@dataclass(frozen=True, slots=True)
class AddRung(EditorAction):
    """Put an empty rung before the rung ``at``, or after the last one."""

    at: int
    action: Literal["add rung"] = "add rung"

    def apply(self, program: Program) -> Edited:
        return _inserted(program, self.at, (Rung(),))


@dataclass(frozen=True, slots=True)
class PasteRungs(EditorAction):
    """Put rungs in text form before the rung ``at``, their blocks under free names."""

    at: int
    text: str
    action: Literal["paste rungs"] = "paste rungs"

    def apply(self, program: Program) -> Edited:
        pasted: list[Rung] = []
        for rung in parse_rungs(self.text):
            whole = replace(program, rungs=(*program.rungs, *pasted))
            variables, own = _with_own_blocks(whole, rung)
            program = replace(program, variables=variables)
            pasted.append(own)
        return _inserted(program, self.at, tuple(pasted))


@dataclass(frozen=True, slots=True)
class DuplicateRung(EditorAction):
    """Put a copy after the rung, its blocks under free names."""

    rung: int
    action: Literal["duplicate rung"] = "duplicate rung"

    def apply(self, program: Program) -> Edited:
        variables, copy = _with_own_blocks(program, rung_at(program, self.rung))
        return _inserted(replace(program, variables=variables), self.rung + 1, (copy,))


@dataclass(frozen=True, slots=True)
class DeleteRung(EditorAction):
    """Take the rung out."""

    rung: int
    action: Literal["delete rung"] = "delete rung"

    def apply(self, program: Program) -> Edited:
        left = _without(program, self.rung)
        follower = min(self.rung, len(left.rungs) - 1) if left.rungs else None
        return Edited(left, Selection(rung=follower))


@dataclass(frozen=True, slots=True)
class MoveRung(EditorAction):
    """Move the rung so that it is the rung ``to`` afterwards."""

    rung: int
    to: int
    action: Literal["move rung"] = "move rung"

    def apply(self, program: Program) -> Edited:
        moved = rung_at(program, self.rung)
        return _inserted(_without(program, self.rung), self.to, (moved,))


@dataclass(frozen=True, slots=True)
class SetRung(EditorAction):
    """Replace the whole rung by one in text form."""

    rung: int
    text: str
    action: Literal["set rung"] = "set rung"

    def apply(self, program: Program) -> Edited:
        rung_at(program, self.rung)
        return with_rung(program, self.rung, parse_rung(self.text))


@dataclass(frozen=True, slots=True)
class SetNetwork(EditorAction):
    """Replace the rung's network by one in text form."""

    rung: int
    text: str
    action: Literal["set network"] = "set network"

    def apply(self, program: Program) -> Edited:
        rung = rung_at(program, self.rung)
        return with_rung(program, self.rung, replace(rung, network=parse_network(self.text)))


@dataclass(frozen=True, slots=True)
class SetComment(EditorAction):
    """Write the rung's comment."""

    rung: int
    comment: str
    action: Literal["set comment"] = "set comment"

    def apply(self, program: Program) -> Edited:
        rung = rung_at(program, self.rung)
        return with_rung(program, self.rung, replace(rung, comment=self.comment))


@dataclass(frozen=True, slots=True)
class SetServes(EditorAction):
    """Say which requirements the rung serves."""

    rung: int
    serves: tuple[Requirement, ...]
    action: Literal["set serves"] = "set serves"

    def apply(self, program: Program) -> Edited:
        rung = rung_at(program, self.rung)
        return with_rung(program, self.rung, replace(rung, serves=self.serves))


RungAction: TypeAlias = (
    AddRung
    | PasteRungs
    | DuplicateRung
    | DeleteRung
    | MoveRung
    | SetRung
    | SetNetwork
    | SetComment
    | SetServes
)


def _inserted(program: Program, at: int, rungs: tuple[Rung, ...]) -> Edited:
    at = max(0, min(at, len(program.rungs)))
    together = (*program.rungs[:at], *rungs, *program.rungs[at:])
    return Edited(replace(program, rungs=together), Selection(rung=at if rungs else None))


def _without(program: Program, index: int) -> Program:
    rung_at(program, index)
    return replace(program, rungs=(*program.rungs[:index], *program.rungs[index + 1 :]))


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
