"""Actions on whole rungs."""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from server.ladder.actions.base import (
    Edited,
    EditorAction,
    Selection,
    insert_rungs,
    rung_at,
    with_rung,
)
from server.ladder.fields import Requirement
from server.ladder.program import Program, Rung
from server.ladder.text_form import parse_network, parse_rung


@dataclass(frozen=True, slots=True)
class AddRung(EditorAction):
    """Put an empty rung before the rung ``at``, or after the last one."""

    at: int
    action: Literal["add rung"] = "add rung"

    def apply(self, program: Program) -> Edited:
        return insert_rungs(program, self.at, (Rung(),))


@dataclass(frozen=True, slots=True)
class DeleteRung(EditorAction):
    """Take the rung out, or all rungs from it to ``last``."""

    rung: int
    last: int | None = None
    action: Literal["delete rung"] = "delete rung"

    def apply(self, program: Program) -> Edited:
        left = _without(program, self.rung, self.rung if self.last is None else self.last)
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
        return insert_rungs(_without(program, self.rung, self.rung), self.to, (moved,))


@dataclass(frozen=True, slots=True)
class SetRung(EditorAction):
    """Replace the whole rung by one in text form."""

    rung: int
    text: str
    action: Literal["set rung"] = "set rung"

    def apply(self, program: Program) -> Edited:
        rung_at(program, self.rung)
        return with_rung(program, self.rung, parse_rung(self.text, program.variables))


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
    AddRung | DeleteRung | MoveRung | SetRung | SetNetwork | SetComment | SetServes
)


def _without(program: Program, first: int, last: int) -> Program:
    first, last = sorted((first, last))
    rung_at(program, first)
    rung_at(program, last)
    return replace(program, rungs=(*program.rungs[:first], *program.rungs[last + 1 :]))
