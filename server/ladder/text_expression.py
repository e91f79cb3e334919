"""What stands in a text between operators, as it was written: trees of expressions.

``text_lowering`` says which of them can be drawn, and how.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from server.ladder.elements import Operator
from server.ladder.messages import Place
from server.ladder.program import Block, Comparison, Contact, Element, Name, Operand

Sign: TypeAlias = Literal["AND", "OR", "XOR"]


@dataclass(frozen=True, slots=True)
class Leaf:
    """An edge contact, a comparison or a block: an element as it stands."""

    element: Element
    place: Place


@dataclass(frozen=True, slots=True)
class Value:
    """A symbol, a number or a duration. A symbol may be a BOOL."""

    operand: Operand
    place: Place


@dataclass(frozen=True, slots=True)
class Constant:
    """TRUE or FALSE."""

    value: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Not:
    """The opposite of a BOOL."""

    inner: "Expression"
    place: Place


@dataclass(frozen=True, slots=True)
class Joined:
    """BOOLs joined by one sign."""

    sign: Sign
    parts: tuple["Expression", ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Calculation:
    """Numbers calculated from left to right; without steps a number that is moved as it is."""

    first: "Expression"
    steps: tuple[tuple[str, "Expression"], ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Applied:
    """A function of numbers that no sign stands for."""

    operator: Operator
    parts: tuple["Expression", ...]
    place: Place


Expression: TypeAlias = Leaf | Value | Constant | Not | Joined | Calculation | Applied


def leaves(expression: Expression) -> Iterator[Leaf | Value | Constant]:
    """Yield what the expression is made of, from left to right."""
    match expression:
        case Leaf() | Value() | Constant():
            yield expression
        case Not(inner, _):
            yield from leaves(inner)
        case Joined(_, parts, _) | Applied(_, parts, _):
            for part in parts:
                yield from leaves(part)
        case Calculation(first, steps, _):
            yield from leaves(first)
            for _, step in steps:
                yield from leaves(step)


def names(expression: Expression) -> set[str]:
    """Return the symbols of the variables and blocks that the expression reads or calls."""
    found: set[str] = set()
    for leaf in leaves(expression):
        match leaf:
            case Value(Name(symbol), _) | Leaf(Contact(_, symbol), _):
                found.add(symbol)
            case Leaf(Comparison(left, _, right), _):
                found |= {side.symbol for side in (left, right) if isinstance(side, Name)}
            case Leaf(Block(instance, inputs), _):
                found.add(instance)
                found |= {i.operand.symbol for i in inputs if isinstance(i.operand, Name)}
            case _:
                pass
    return {symbol.partition(".")[0] for symbol in found}


def calls(expression: Expression) -> bool:
    """Return whether a function block is called in the expression."""
    return any(isinstance(x, Leaf) and isinstance(x.element, Block) for x in leaves(expression))
