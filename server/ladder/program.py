"""The program model: rungs as series-parallel trees, in frozen dataclasses.

Series and parallel alternate strictly: a ``Series`` holds elements and ``Parallel``s, a
``Parallel`` holds at least two ``Series``. ``normal`` brings any tree into this one form, so that
equal networks are equal values. Every element sees the power that reaches it from the left.

Symbols are lower-case words: IEC 61131-3 does not tell cases apart, so the borders (text form,
JSON form, editing) fold them with ``names.canonical`` and everything inside compares with ``==``.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from server.ladder.elements import CoilKind, ContactKind, Operator, Relation
from server.ladder.names import clean_line, clean_text

Path: TypeAlias = tuple[int, ...]
"""Place of an element in a network: item index, branch index, item index, …"""


@dataclass(frozen=True, slots=True)
class Name:
    """An operand that names a variable, or an output of a block as ``instance.CV``."""

    symbol: str


@dataclass(frozen=True, slots=True)
class Number:
    """An INT literal."""

    value: int


@dataclass(frozen=True, slots=True)
class Duration:
    """A TIME literal in whole milliseconds."""

    ms: int


Operand: TypeAlias = Name | Number | Duration


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact on a BOOL: ``symbol`` names a variable or a block output (``delay.Q``)."""

    kind: ContactKind
    symbol: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Conducts while the relation holds."""

    left: Operand
    relation: Relation
    right: Operand


@dataclass(frozen=True, slots=True)
class BlockInput:
    """An operand wired to a block's input pin; ``negated`` only for BOOL names."""

    pin: str
    operand: Operand
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """A function block in line. Its type stands in the declaration of ``instance``."""

    instance: str
    inputs: tuple[BlockInput, ...] = ()


@dataclass(frozen=True, slots=True)
class Series:
    """Items from left to right; without items a plain wire."""

    items: tuple["Element | Parallel", ...] = ()


@dataclass(frozen=True, slots=True)
class Parallel:
    """Branches from top to bottom."""

    branches: tuple[Series, ...]


Element: TypeAlias = Contact | Comparison | Block
Item: TypeAlias = Element | Parallel


@dataclass(frozen=True, slots=True)
class Coil:
    """A coil on a BOOL variable."""

    kind: CoilKind
    symbol: str


@dataclass(frozen=True, slots=True)
class Assignment:
    """``target := left [operator right]``, done in each scan in which power arrives.

    A result out of INT's range or a division by zero leaves the target as it was and sets the
    program's fault bit.
    """

    target: str
    left: Operand
    operator: Operator | None = None
    right: Operand | None = None


Output: TypeAlias = Coil | Assignment


@dataclass(frozen=True, slots=True)
class Rung:
    """A network and what it drives.

    Outputs keep the order coils, negated coils, then set, reset and assignments as given: all see
    the same power, so the order matters only where one of them is written twice. ``serves`` names
    the requirements the rung is written for; the comment may have several lines.
    """

    network: Series = field(default_factory=Series)
    outputs: tuple[Output, ...] = ()
    comment: str = ""
    serves: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "network", normal(self.network))
        object.__setattr__(self, "outputs", tuple(sorted(self.outputs, key=is_action)))
        object.__setattr__(self, "comment", clean_text(self.comment))
        object.__setattr__(self, "serves", tuple(dict.fromkeys(self.serves)))


@dataclass(frozen=True, slots=True)
class Variable:
    """A declaration: a BOOL, INT or TIME, or the instance of a function block.

    ``initial`` is 0/1 for BOOL, the value for INT, milliseconds for TIME, None for the default.
    """

    symbol: str
    type: str
    address: str | None = None
    initial: int | None = None
    retain: bool = False
    comment: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "comment", clean_line(self.comment))


@dataclass(frozen=True, slots=True)
class Program:
    """Declarations and rungs, evaluated from top to bottom once per scan."""

    name: str
    variables: tuple[Variable, ...] = ()
    rungs: tuple[Rung, ...] = ()
    comment: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "comment", clean_text(self.comment))


def is_action(output: Output) -> bool:
    """Whether the output acts only while power arrives (set, reset, assignment)."""
    return isinstance(output, Assignment) or output.kind.partner is not None


def normal(series: Series) -> Series:
    """The one normal form of a network: no one-branch parallel, no parallel alone in a branch."""
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
