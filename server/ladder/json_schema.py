"""The JSON form's schema, version 1. Each class knows the part of the model it stands for.

Stored forms only grow. Programs in the database and in browsers outlive this code, so a field or a
kind of element may be added with a default that keeps its old meaning, and none is ever removed,
renamed or given another meaning. What can't be added that way makes a version 2, whose reader still
reads version 1.
"""

from collections.abc import Callable
from typing import Annotated, Literal, Self, TypeAlias

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from server.ladder import program as model
from server.ladder.elements import (
    BLOCK_TYPES,
    DATA_TYPES,
    INT_MAX,
    INT_MIN,
    TIME_MAX_MS,
    CoilKind,
    ContactKind,
    Operator,
    Relation,
)
from server.ladder.json_faults import refusal
from server.ladder.limits import MAX_RUNGS, MAX_VARIABLES
from server.ladder.names import (
    REQUIREMENT,
    address_fault,
    article,
    canonical,
    reference_fault,
    shortened,
    symbol_fault,
)

VERSION = 1


def _spelling(fault: Callable[[str], tuple[str, str] | None]) -> AfterValidator:
    def check(text: str) -> str:
        found = fault(text)
        if found is not None:
            raise refusal(*found)
        return canonical(text)

    return AfterValidator(check)


def _requirement(text: str) -> str:
    if REQUIREMENT.fullmatch(text) is None:
        raise refusal(f"{shortened(text)} is no requirement.", "Write it like R1 or R2a.")
    return text


Symbol: TypeAlias = Annotated[str, _spelling(symbol_fault)]
Reference: TypeAlias = Annotated[str, _spelling(reference_fault)]
Requirement: TypeAlias = Annotated[str, AfterValidator(_requirement)]


class _Form(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, title="program")


class NameForm(_Form):
    operand: Literal["name"]
    symbol: Reference

    def build(self) -> model.Name:
        return model.Name(self.symbol)


class NumberForm(_Form):
    operand: Literal["number"]
    value: Annotated[int, Field(ge=INT_MIN, le=INT_MAX)]

    def build(self) -> model.Number:
        return model.Number(self.value)


class DurationForm(_Form):
    operand: Literal["duration"]
    ms: Annotated[int, Field(ge=0, le=TIME_MAX_MS)]

    def build(self) -> model.Duration:
        return model.Duration(self.ms)


OperandForm: TypeAlias = Annotated[
    NameForm | NumberForm | DurationForm, Field(discriminator="operand")
]


class ContactForm(_Form):
    element: Literal["contact"]
    kind: Annotated[ContactKind, Field(strict=False)]
    symbol: Reference

    def build(self) -> model.Contact:
        return model.Contact(self.kind, self.symbol)


class ComparisonForm(_Form):
    element: Literal["comparison"]
    left: OperandForm
    relation: Annotated[Relation, Field(strict=False)]
    right: OperandForm

    def build(self) -> model.Comparison:
        return model.Comparison(self.left.build(), self.relation, self.right.build())


class InputForm(_Form):
    pin: Symbol
    operand: OperandForm
    negated: bool = False

    @model_validator(mode="after")
    def _only_names_are_negated(self) -> Self:
        if self.negated and not isinstance(self.operand, NameForm):
            raise refusal("Only a symbol can be negated at an input.", "Leave 'negated' out.")
        return self

    def build(self) -> model.BlockInput:
        return model.BlockInput(self.pin.upper(), self.operand.build(), self.negated)


class BlockForm(_Form):
    element: Literal["block"]
    instance: Symbol
    inputs: list[InputForm] = []

    def build(self) -> model.Block:
        return model.Block(self.instance, tuple(wired.build() for wired in self.inputs))


class ParallelForm(_Form):
    element: Literal["parallel"]
    branches: list[list["ItemForm"]]

    def build(self) -> model.Parallel:
        return model.Parallel(tuple(series(branch) for branch in self.branches))


ItemForm: TypeAlias = Annotated[
    ContactForm | ComparisonForm | BlockForm | ParallelForm, Field(discriminator="element")
]


def series(items: list[ItemForm]) -> model.Series:
    """The network, or branch, of these items."""
    return model.Series(tuple(item.build() for item in items))


class CoilForm(_Form):
    output: Literal["coil"]
    kind: Annotated[CoilKind, Field(strict=False)]
    symbol: Symbol

    def build(self) -> model.Coil:
        return model.Coil(self.kind, self.symbol)


class AssignmentForm(_Form):
    output: Literal["assignment"]
    target: Symbol
    left: OperandForm
    operator: Annotated[Operator | None, Field(strict=False)] = None
    right: OperandForm | None = None

    @model_validator(mode="after")
    def _operator_has_two_sides(self) -> Self:
        if (self.operator is None) != (self.right is None):
            raise refusal(
                "An assignment has an operator and a right side, or neither.",
                "Give both or leave both out.",
            )
        return self

    def build(self) -> model.Assignment:
        right = None if self.right is None else self.right.build()
        return model.Assignment(self.target, self.left.build(), self.operator, right)


OutputForm: TypeAlias = Annotated[CoilForm | AssignmentForm, Field(discriminator="output")]


class RungForm(_Form):
    network: list[ItemForm] = []
    outputs: list[OutputForm] = []
    comment: str = ""
    serves: list[Requirement] = []

    def build(self) -> model.Rung:
        outputs = tuple(output.build() for output in self.outputs)
        return model.Rung(series(self.network), outputs, self.comment, tuple(self.serves))


_INITIAL_RANGES = {"BOOL": (0, 1), "INT": (INT_MIN, INT_MAX), "TIME": (0, TIME_MAX_MS)}


class VariableForm(_Form):
    symbol: Symbol
    type: str
    address: str | None = None
    initial: int | None = None
    retain: bool = False
    comment: str = ""

    @model_validator(mode="after")
    def _type_allows_the_rest(self) -> Self:
        if self.type not in DATA_TYPES and self.type not in BLOCK_TYPES:
            types = ", ".join((*DATA_TYPES, *BLOCK_TYPES))
            raise refusal(f"The type {shortened(self.type)} is not known.", f"Known are {types}.")
        if self.address is not None and (fault := address_fault(self.address, self.type)):
            raise refusal(*fault)
        if self.initial is not None:
            if self.type not in _INITIAL_RANGES:
                raise refusal(f"{self.symbol} is a block with an initial value.", "Leave it out.")
            low, high = _INITIAL_RANGES[self.type]
            if not low <= self.initial <= high:
                raise refusal(
                    f"{self.initial} is no initial value of {article(self.type)}.",
                    f"It goes from {low} to {high}.",
                )
        return self

    def build(self) -> model.Variable:
        return model.Variable(
            self.symbol, self.type, self.address, self.initial, self.retain, self.comment
        )


class ProgramForm(_Form):
    version: Literal[1]
    name: Symbol
    variables: Annotated[list[VariableForm], Field(max_length=MAX_VARIABLES)] = []
    rungs: Annotated[list[RungForm], Field(max_length=MAX_RUNGS)] = []
    comment: str = ""

    def build(self) -> model.Program:
        variables = tuple(variable.build() for variable in self.variables)
        rungs = tuple(rung.build() for rung in self.rungs)
        return model.Program(self.name, variables, rungs, self.comment)
