"""What can be done to a program: one class an action, with its fields in JSON and what it does.

Elements and outputs are one line of the text form in JSON, variables objects of the JSON form. A
refused action raises ProgramError with one sentence; the given program is never changed. What comes
out is in normal form and within the limits, but may have the errors of an unfinished program.
"""

from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, TypeAlias, get_args

from pydantic import Field, TypeAdapter, ValidationError

from server.ladder.actions.base import Edited, EditorAction, Selection
from server.ladder.actions.copies import CopyAction
from server.ladder.actions.elements import ElementAction
from server.ladder.actions.outputs import OutputAction
from server.ladder.actions.rungs import RungAction
from server.ladder.actions.variables import VariableAction
from server.ladder.bounds import over_limits
from server.ladder.fields import Symbol
from server.ladder.json_faults import messages_of
from server.ladder.messages import ProgramError
from server.ladder.program import Program


@dataclass(frozen=True, slots=True)
class NameProgram(EditorAction):
    """Give the program another name and comment."""

    name: Symbol
    comment: str = ""
    action: Literal["name program"] = "name program"

    def apply(self, program: Program) -> Edited:
        return Edited(replace(program, name=self.name, comment=self.comment), Selection())


@dataclass(frozen=True, slots=True)
class Together(EditorAction):
    """Several actions as one: all of them or none."""

    actions: Annotated[tuple["Action", ...], Field(max_length=50)]
    action: Literal["together"] = "together"

    def apply(self, program: Program) -> Edited:
        edited = Edited(program, Selection())
        for each in self.actions:
            edited = each.apply(edited.program)
        return edited


Action: TypeAlias = (
    RungAction | CopyAction | ElementAction | OutputAction | VariableAction | NameProgram | Together
)
# By name: a class with slots is made twice.
assert {each.__name__ for each in get_args(Action)} == {
    each.__name__ for each in EditorAction.__subclasses__()
}, "every action is part of a union"

_ACTION: TypeAdapter[Action] = TypeAdapter(Annotated[Action, Field(discriminator="action")])


def parse_action(data: dict[str, Any]) -> Action:
    """Return the action of JSON data. Raises ProgramError that names what is wrong with it."""
    try:
        return _ACTION.validate_python(data)
    except ValidationError as refused:
        raise ProgramError(messages_of(refused)) from None


def edit(program: Program, action: Action) -> Edited:
    """Do one action. Raises ProgramError and changes nothing when it can't be done."""
    edited = action.apply(program)
    if too_large := over_limits(edited.program):
        raise ProgramError(too_large)
    return edited
