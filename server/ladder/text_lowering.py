"""From expressions to what a rung has: contacts for BOOLs, assignments for numbers.

Only what means exactly the same is drawn. NOT goes inward to the contacts and comparisons (De
Morgan), XOR becomes two branches. A calculation becomes one assignment, whatever its operators.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from server.ladder.elements import ContactKind, Operator
from server.ladder.limits import MAX_ELEMENTS, MAX_OPERATORS
from server.ladder.messages import Place
from server.ladder.program import (
    AssignmentStatement,
    Calculated,
    Comparison,
    Contact,
    Element,
    Formula,
    Item,
    Name,
    Number,
    Parallel,
    Series,
)
from server.ladder.text_expression import (
    Applied,
    Calculation,
    Constant,
    Expression,
    Joined,
    Leaf,
    Not,
    Value,
)
from server.ladder.text_printer import print_element, print_operand


class Undrawable(Exception):
    """Says where an expression can't be drawn, why, and what to write instead."""

    def __init__(self, place: Place, text: str, fix: str) -> None:
        super().__init__(text)
        self.place, self.text, self.fix = place, text, fix


@dataclass(frozen=True, slots=True)
class DrawnNetwork:
    """A network, and where each of its elements was written, in the order of ``walk``."""

    network: Series
    places: tuple[Place, ...]


def draw(expression: Expression) -> DrawnNetwork:
    """Draw a BOOL as a network. Raises Undrawable."""
    if _size(expression) > MAX_ELEMENTS and _has_xor(expression):
        raise Undrawable(
            expression.place,
            f"With its XOR drawn as contacts, the rung has more than {MAX_ELEMENTS} elements.",
            "Drive an internal bit with a part of it, and use that bit here.",
        )
    places: list[Place] = []
    return DrawnNetwork(Series(tuple(_items(expression, True, places))), tuple(places))


def _size(expression: Expression) -> int:
    """Return the number of elements, or more than MAX_ELEMENTS."""
    match expression:
        case Not(inner, _):
            return _size(inner)
        case Joined(sign, parts, _):
            size = 0
            for part in parts:
                size += _size(part)
                size *= 2 if sign == "XOR" and part is not parts[0] else 1
                size = min(size, MAX_ELEMENTS + 1)
            return size
        case _:
            return 1


def _has_xor(expression: Expression) -> bool:
    match expression:
        case Not(inner, _):
            return _has_xor(inner)
        case Joined(sign, parts, _):
            return sign == "XOR" or any(map(_has_xor, parts))
        case _:
            return False


def _items(expression: Expression, positive: bool, places: list[Place]) -> Iterator[Item]:
    match expression:
        case Leaf(element, place):
            places.append(place)
            yield element if positive else _opposite(element, place)
        case Value(Name(symbol), place):
            places.append(place)
            yield Contact(ContactKind.OPEN if positive else ContactKind.CLOSED, symbol)
        case Value(operand, place):
            shown = print_operand(operand)
            raise Undrawable(
                place,
                f"{shown} is a value; a rung needs a contact or a comparison here.",
                f"Compare it, like level > {shown}.",
            )
        case Constant(value, place):
            if value is not positive:
                raise Undrawable(
                    place,
                    "No element of a rung stands for FALSE.",
                    "Leave out what never conducts; a BOOL goes OFF with x := FALSE.",
                )
        case Not(Value() | Leaf() as leaf, place):
            yield from _items(replace(leaf, place=place), not positive, places)
        case Not(inner, _):
            yield from _items(inner, not positive, places)
        case Joined("XOR", (first, *rest), place):
            for part in rest:
                first = _exclusive(first, part, place)
            yield from _items(first, positive, places)
        case Joined(sign, parts, _):
            if (sign == "AND") is positive:
                for part in parts:
                    yield from _items(part, positive, places)
            else:
                yield Parallel(tuple(Series(tuple(_items(p, positive, places))) for p in parts))
        case Calculation(_, _, place) | Applied(_, _, place):
            raise Undrawable(
                place,
                "A rung compares and conducts, it does not calculate here.",
                "Assign the result to an INT in a rung above, and compare that.",
            )


def _exclusive(left: Expression, right: Expression, place: Place) -> Expression:
    only_left = Joined("AND", (left, Not(right, place)), place)
    only_right = Joined("AND", (Not(left, place), right), place)
    return Joined("OR", (only_left, only_right), place)


def _opposite(element: Element, place: Place) -> Element:
    match element:
        case Contact(ContactKind.OPEN, symbol):
            return Contact(ContactKind.CLOSED, symbol)
        case Contact(ContactKind.CLOSED, symbol):
            return Contact(ContactKind.OPEN, symbol)
        case Comparison(left, relation, right):
            return Comparison(left, relation.opposite, right)
        case Contact():
            raise Undrawable(
                place,
                f"No contact is the opposite of {print_element(element)}.",
                "Drive an internal bit with it in a rung above, and take that bit here.",
            )
        case block:
            raise Undrawable(
                place,
                f"The call of {block.instance} can't be negated.",
                f"Call it in a rung above, and use NOT on its output, like {block.instance}.Q.",
            )


def calculate(target: str, expression: Expression) -> AssignmentStatement:
    """Return the assignment that gives ``target`` a number or bits. Raises Undrawable."""
    if _operators(expression) > MAX_OPERATORS:
        raise Undrawable(
            expression.place,
            f"The assignment has more than {MAX_OPERATORS} operators.",
            "Assign a part of it to another variable in a statement above.",
        )
    value = _value(target, expression)
    return AssignmentStatement(target, Number(0)).with_value(value)


def _operators(expression: Expression) -> int:
    """Return how many there are; operators between operands are counted without recursion."""
    match expression:
        case Calculation(first, steps, _):
            return len(steps) + sum(map(_operators, (first, *(part for _, part in steps))))
        case Applied(_, parts, _):
            return 1 + sum(map(_operators, parts))
        case Joined(_, parts, _):
            return len(parts) - 1 + sum(map(_operators, parts))
        case Not(inner, _):
            return 1 + _operators(inner)
        case _:
            return 0


def _value(target: str, expression: Expression) -> Calculated:
    match expression:
        case Value(operand, _):
            return operand
        case Calculation(first, steps, _):
            value = _value(target, first)
            for sign, part in steps:
                value = Formula(_operator(sign, part.place), (value, _value(target, part)))
            return value
        case Applied(operator, parts, _):
            return Formula(operator, tuple(_value(target, part) for part in parts))
        case Not(inner, _):
            return Formula(Operator.NOT, (_value(target, inner),))
        case Joined(sign, (first, *rest), place):
            return _value(target, Calculation(first, tuple((sign, part) for part in rest), place))
        case other:
            raise Undrawable(
                other.place,
                f"{target} gets a number here, and this is a BOOL.",
                "Calculate with numbers only.",
            )


def _operator(sign: str, place: Place) -> Operator:
    if sign == "**":
        raise Undrawable(place, "There are no powers here.", "Multiply: n * n.")
    return Operator(sign)
