"""Actions on the outputs of a rung."""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from server.ladder.actions.base import (
    Edited,
    EditorAction,
    OutputText,
    refuse,
    rung_at,
    with_rung,
)
from server.ladder.elements import CoilKind
from server.ladder.messages import Place
from server.ladder.program import Coil, Output, Program


@dataclass(frozen=True, slots=True)
class AddOutput(EditorAction):
    """Add a coil or an assignment below the others."""

    rung: int
    output: OutputText
    action: Literal["add output"] = "add output"

    def apply(self, program: Program) -> Edited:
        outputs = rung_at(program, self.rung).outputs
        return put_output(program, self.rung, len(outputs), self.output)


@dataclass(frozen=True, slots=True)
class SetOutput(EditorAction):
    """Replace an output."""

    rung: int
    number: int
    output: OutputText
    action: Literal["set output"] = "set output"

    def apply(self, program: Program) -> Edited:
        output_at(program, self.rung, self.number)
        return put_output(program, self.rung, self.number, self.output)


@dataclass(frozen=True, slots=True)
class SetCoilKind(EditorAction):
    """Make a coil plain, negated, set or reset."""

    rung: int
    number: int
    kind: CoilKind
    action: Literal["set coil kind"] = "set coil kind"

    def apply(self, program: Program) -> Edited:
        output = output_at(program, self.rung, self.number)
        if not isinstance(output, Coil):
            place = Place(self.rung, output=self.number)
            refuse(place, "The output is no coil.", "Choose a coil.")
        return put_output(program, self.rung, self.number, replace(output, kind=self.kind))


@dataclass(frozen=True, slots=True)
class MoveOutput(EditorAction):
    """Move an output so that it is the output ``to`` afterwards, as far as coils stay first."""

    rung: int
    number: int
    to: int
    action: Literal["move output"] = "move output"

    def apply(self, program: Program) -> Edited:
        output = output_at(program, self.rung, self.number)
        left = _without_output(program, self.rung, self.number)
        to = max(0, min(self.to, len(left)))
        return _with_outputs(program, self.rung, (*left[:to], output, *left[to:]), output)


@dataclass(frozen=True, slots=True)
class DeleteOutput(EditorAction):
    """Take an output out."""

    rung: int
    number: int
    action: Literal["delete output"] = "delete output"

    def apply(self, program: Program) -> Edited:
        output_at(program, self.rung, self.number)
        rung = rung_at(program, self.rung)
        left = _without_output(program, self.rung, self.number)
        follower = min(self.number, len(left) - 1) if left else None
        return with_rung(program, self.rung, replace(rung, outputs=left), output=follower)


OutputAction: TypeAlias = AddOutput | SetOutput | SetCoilKind | MoveOutput | DeleteOutput


def put_output(program: Program, index: int, number: int, output: Output) -> Edited:
    output = replace(output)
    outputs = rung_at(program, index).outputs
    put = (*outputs[:number], output, *outputs[number + 1 :])
    return _with_outputs(program, index, put, output)


def _with_outputs(
    program: Program, index: int, outputs: tuple[Output, ...], selected: Output
) -> Edited:
    """Return the rung with these outputs, one of them selected."""
    rung = replace(rung_at(program, index), outputs=outputs)
    at = next(i for i, each in enumerate(rung.outputs) if each is selected)
    return with_rung(program, index, rung, output=at)


def _without_output(program: Program, index: int, number: int) -> tuple[Output, ...]:
    outputs = rung_at(program, index).outputs
    return (*outputs[:number], *outputs[number + 1 :])


def output_at(program: Program, rung: int, number: int) -> Output:
    outputs = rung_at(program, rung).outputs
    if not 0 <= number < len(outputs):
        refuse(Place(rung), f"There is no output {number + 1}.", f"The rung has {len(outputs)}.")
    return outputs[number]
