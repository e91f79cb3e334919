"""The program model: rungs as series-parallel trees, in frozen dataclasses.

The same classes are the JSON form, version 1: a field's type says what JSON may put there, and a
field that is not compared names the kind of thing in JSON. Only ``json_form`` reads these rules; in
code a program may also be wrong, and ``validation`` says so.

Stored forms only grow. Programs in the database and in browsers outlive this code, so a field or a
kind of element may be added with a default that keeps its old meaning, and none is ever removed,
renamed or given another meaning. What can't be added that way makes a version 2, whose reader still
reads version 1.

Series and parallel alternate strictly: a ``Series`` holds elements and ``Parallel``s, a
``Parallel`` holds at least two ``Series``. ``normal`` brings any tree into this one form, so that
equal networks are equal values. Every element sees the power that reaches it from the left.

Symbols are lower-case words: IEC 61131-3 does not tell cases apart, so the borders (text form,
JSON form, editing) fold them with ``names.canonical`` and everything inside compares with ``==``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, ClassVar, Literal, TypeAlias

from pydantic import AfterValidator, ConfigDict, Field, GetCoreSchemaHandler, StrictBool, StrictInt
from pydantic_core import CoreSchema, core_schema

from server.ladder.elements import (
    BLOCK_TYPES,
    DATA_TYPES,
    INT_MAX,
    INT_MIN,
    MOVED,
    TIME_MAX_MS,
    WORD_MAX,
    CoilKind,
    ContactKind,
    Operator,
    Pin,
    Relation,
)
from server.ladder.fields import (
    Driven,
    IntValue,
    Milliseconds,
    PinName,
    Reference,
    Requirement,
    Symbol,
    refusal,
)
from server.ladder.limits import MAX_RUNGS, MAX_VARIABLES
from server.ladder.names import address_fault, article, clean_line, clean_text, shortened

Path: TypeAlias = tuple[int, ...]
"""Place of an element in a network: item index, branch index, item index, …"""


Base: TypeAlias = Literal[2, 8, 10, 16]
"""What a number is written in."""


class _Shape:
    """A class that takes no other fields from JSON than its own."""

    __slots__ = ()
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")


@dataclass(frozen=True, slots=True)
class Name(_Shape):
    """An operand that names a variable, an output of a block as ``instance.CV``, or a bit."""

    symbol: Reference
    operand: Literal["name"] = field(default="name", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Number(_Shape):
    """A literal of an INT or a WORD; ``base`` is how it is written.

    Only bits have a base, and a WORD beyond INT's range always has one: so the text form, which
    reads no other numbers, gives back whatever was stored.
    """

    value: IntValue
    base: Base = 10
    operand: Literal["number"] = field(default="number", compare=False, repr=False)

    def __post_init__(self) -> None:
        if self.value < 0:
            object.__setattr__(self, "base", 10)
        elif self.value > INT_MAX and self.base == 10:
            object.__setattr__(self, "base", 16)


@dataclass(frozen=True, slots=True)
class Duration(_Shape):
    """A TIME literal in whole milliseconds."""

    ms: Milliseconds
    operand: Literal["duration"] = field(default="duration", compare=False, repr=False)


Operand: TypeAlias = Annotated[Name | Number | Duration, Field(discriminator="operand")]


@dataclass(frozen=True, slots=True)
class Formula(_Shape):
    """A result in between: an operator or a function with its operands in order."""

    operator: Operator
    operands: tuple["Calculated", ...]
    operand: Literal["formula"] = field(default="formula", compare=False, repr=False)


def _formula_has_its_operands(formula: Formula) -> Formula:
    if len(formula.operands) != len(formula.operator.row.pins):
        raise refusal(
            f"{formula.operator} has {len(formula.operands)} operands here; it takes "
            f"{len(formula.operator.row.pins)}.",
            "Give as many as it takes.",
        )
    return formula


Calculated: TypeAlias = Annotated[
    Name | Number | Duration | Annotated[Formula, AfterValidator(_formula_has_its_operands)],
    Field(discriminator="operand"),
]
"""What an assignment calculates with: an operand, or a result of its own."""


@dataclass(frozen=True, slots=True)
class Contact(_Shape):
    """A contact on a BOOL: a variable, a block output (``delay.Q``) or a bit (``steps.%X3``)."""

    kind: ContactKind
    symbol: Reference
    element: Literal["contact"] = field(default="contact", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Comparison(_Shape):
    """Conducts while the relation holds."""

    left: Operand
    relation: Relation
    right: Operand
    element: Literal["comparison"] = field(default="comparison", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class BlockInput(_Shape):
    """An operand wired to a block's input pin; ``negated`` only for BOOL names."""

    pin: PinName
    operand: Operand
    negated: StrictBool = False


def _only_names_are_negated(wired: BlockInput) -> BlockInput:
    if wired.negated and not isinstance(wired.operand, Name):
        raise refusal("Only a symbol can be negated at an input.", "Leave 'negated' out.")
    return wired


WiredInput: TypeAlias = Annotated[BlockInput, AfterValidator(_only_names_are_negated)]


@dataclass(frozen=True, slots=True)
class Block(_Shape):
    """A function block in line. Its type stands in the declaration of ``instance``."""

    instance: Symbol
    inputs: tuple[WiredInput, ...] = ()
    element: Literal["block"] = field(default="block", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Series:
    """Items from left to right; without items a plain wire. In JSON the list of its items."""

    items: tuple["Item", ...] = ()

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        items = handler.generate_schema(tuple[Item, ...])
        return core_schema.no_info_after_validator_function(cls, items)


@dataclass(frozen=True, slots=True)
class Parallel(_Shape):
    """Branches from top to bottom."""

    branches: tuple[Series, ...]
    element: Literal["parallel"] = field(default="parallel", compare=False, repr=False)


Element: TypeAlias = Contact | Comparison | Block
Item: TypeAlias = Annotated[Contact | Comparison | Block | Parallel, Field(discriminator="element")]


@dataclass(frozen=True, slots=True)
class Coil(_Shape):
    """A coil on a BOOL variable, or on a bit of a WORD."""

    kind: CoilKind
    symbol: Driven
    output: Literal["coil"] = field(default="coil", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class AssignmentStatement(_Shape):
    """``target := left [operator right]``, done in each scan in which power arrives.

    A function has its operands in order: ``left`` alone, ``left`` and ``right``, or all three. An
    operand may be a ``Formula``: the outermost operator is that of the statement. A result
    out of INT's range, a division by zero or a shift by a negative number, wherever in it, leaves
    the target as it was and sets the program's fault bit.
    """

    target: Symbol
    left: Calculated
    operator: Operator | None = None
    right: Calculated | None = None
    third: Calculated | None = None
    output: Literal["assignment"] = field(default="assignment", compare=False, repr=False)

    @property
    def value(self) -> Calculated:
        """The right side as a whole."""
        return self.left if self.operator is None else Formula(self.operator, self.operands)

    def with_value(self, value: Calculated) -> "AssignmentStatement":
        """Return the statement with another right side."""
        if isinstance(value, Formula):
            return replace(self, operator=value.operator).with_operands(*value.operands)
        return replace(self, left=value, operator=None, right=None, third=None)

    @property
    def operands(self) -> tuple[Calculated, ...]:
        """What its operator takes, in order."""
        return tuple(each for each in (self.left, self.right, self.third) if each is not None)

    @property
    def pins(self) -> tuple[Pin, ...]:
        """What its operands are inputs of, in the same order."""
        return MOVED if self.operator is None else self.operator.row.pins

    def with_operands(self, *operands: Calculated) -> "AssignmentStatement":
        """Return the same statement with other operands."""
        left, right, third = (*operands, None, None)[:3]
        assert left is not None, "a value has an operand"
        return replace(self, left=left, right=right, third=third)


def _operator_has_its_operands(assignment: AssignmentStatement) -> AssignmentStatement:
    given = (assignment.left, assignment.right, assignment.third)
    count = len(assignment.pins)
    if [each is not None for each in given] != [place < count for place in range(len(given))]:
        raise refusal(
            f"The value of this assignment has {len(assignment.operands)} operands; "
            f"{assignment.operator or 'without an operator it'} takes {count}.",
            "Give left, right and third in this order, as many as it takes.",
        )
    return assignment


Output: TypeAlias = Annotated[
    Coil | Annotated[AssignmentStatement, AfterValidator(_operator_has_its_operands)],
    Field(discriminator="output"),
]


@dataclass(frozen=True, slots=True)
class Rung(_Shape):
    """A network and what it drives.

    Outputs keep the order coils, negated coils, then set, reset and assignments as given: all see
    the same power, so the order matters only where one of them is written twice. ``serves`` names
    the requirements the rung is written for; the comment may have several lines.
    """

    network: Series = Series()
    outputs: tuple[Output, ...] = ()
    comment: str = ""
    serves: tuple[Requirement, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "network", normal(self.network))
        object.__setattr__(self, "outputs", tuple(sorted(self.outputs, key=is_action)))
        object.__setattr__(self, "comment", clean_text(self.comment))
        object.__setattr__(self, "serves", tuple(dict.fromkeys(self.serves)))


@dataclass(frozen=True, slots=True)
class Variable(_Shape):
    """A declaration: a BOOL, INT, TIME or WORD, or the instance of a function block.

    ``initial`` is 0/1 for BOOL, the value for INT and WORD, milliseconds for TIME, None for the
    default.
    """

    symbol: Symbol
    type: str
    address: str | None = None
    initial: StrictInt | None = None
    retain: StrictBool = False
    comment: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "comment", clean_line(self.comment))


_INITIAL_RANGES = {
    "BOOL": (0, 1),
    "INT": (INT_MIN, INT_MAX),
    "TIME": (0, TIME_MAX_MS),
    "WORD": (0, WORD_MAX),
}


def _type_allows_the_rest(variable: Variable) -> Variable:
    known = (*DATA_TYPES, *BLOCK_TYPES)
    if variable.type not in known:
        raise refusal(
            f"The type {shortened(variable.type)} is not known.", f"Known are {', '.join(known)}."
        )
    if variable.address is not None and (fault := address_fault(variable.address, variable.type)):
        raise refusal(*fault)
    if variable.initial is not None:
        if variable.type not in _INITIAL_RANGES:
            raise refusal(f"{variable.symbol} is a block with an initial value.", "Leave it out.")
        low, high = _INITIAL_RANGES[variable.type]
        if not low <= variable.initial <= high:
            raise refusal(
                f"{variable.initial} is no initial value of {article(variable.type)}.",
                f"It goes from {low} to {high}.",
            )
    return variable


Declaration: TypeAlias = Annotated[Variable, AfterValidator(_type_allows_the_rest)]
"""A variable of which type, address and initial value fit together."""


@dataclass(frozen=True, slots=True)
class Program(_Shape):
    """Declarations and rungs, evaluated from top to bottom once per scan."""

    name: Symbol
    variables: Annotated[tuple[Declaration, ...], Field(max_length=MAX_VARIABLES)] = ()
    rungs: Annotated[tuple[Rung, ...], Field(max_length=MAX_RUNGS)] = ()
    comment: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "comment", clean_text(self.comment))


def operands_of(value: Calculated) -> Iterator[Operand]:
    """Yield the operands that a value is calculated from, from left to right."""
    if isinstance(value, Formula):
        for operand in value.operands:
            yield from operands_of(operand)
    else:
        yield value


def formulas(value: Calculated) -> Iterator[Formula]:
    """Yield the operators of a value with their operands, the outer before the inner."""
    if isinstance(value, Formula):
        yield value
        for operand in value.operands:
            yield from formulas(operand)


def is_action(output: Output) -> bool:
    """Return whether the output acts only while power arrives (set, reset, assignment)."""
    return isinstance(output, AssignmentStatement) or output.kind.partner is not None


def normal(series: Series) -> Series:
    """Return the normal form of a network: no one-branch parallel, none alone in a branch."""
    items: list[Item] = []
    for item in series.items:
        if not isinstance(item, Parallel):
            items.append(item)
            continue
        branches: list[Series] = []
        for branch in map(normal, item.branches):
            match branch.items:
                case (Parallel(inner),):
                    branches.extend(inner)
                case _:
                    branches.append(branch)
        if len(branches) == 1:
            items.extend(branches[0].items)
        elif branches:
            items.append(Parallel(tuple(branches)))
    return Series(tuple(items))


def walk(network: Series, prefix: Path = ()) -> Iterator[tuple[Path, Element]]:
    """Elements in order of evaluation (left to right, branches top to bottom), with their path."""
    for i, item in enumerate(network.items):
        if isinstance(item, Parallel):
            for j, branch in enumerate(item.branches):
                yield from walk(branch, (*prefix, i, j))
        else:
            yield (*prefix, i), item
