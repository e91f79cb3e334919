"""What can be wrong with one element or one output: every single fault, and its words."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from server.ladder.durations import print_duration
from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    INT_MIN,
    TIME_MAX_MS,
    BlockFamily,
    CoilKind,
    Relation,
    family_of,
)
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Name,
    Number,
    Operand,
    Output,
)
from server.ladder.text_printer import print_element, print_operand, print_output
from server.marking.faults.scope import Scope


class FaultKind(StrEnum):
    """The vocabulary of single faults; ``marking.variants`` names its published sources."""

    NEGATED = "contact negated"
    EDGE = "edge kind changed"
    SHORTED = "element shorted"
    OPENED = "element opened"
    EXCHANGED = "point exchanged"
    BRANCH = "branch removed"
    SEAL_IN = "seal-in dropped"
    COIL = "coil kind changed"
    SET_RESET = "set and reset exchanged"
    TIMER_KIND = "timer kind changed"
    TIMER_BOUND = "timer bound changed"
    PRESET = "counter preset changed"
    BISTABLE = "dominance exchanged"
    RELATION = "relation changed"
    OPERATOR = "operator changed"
    LITERAL = "literal changed"
    INPUT = "block input changed"
    RUNGS = "rungs exchanged"
    OUTPUT = "output removed"
    RETENTION = "retention changed"


@dataclass(frozen=True, slots=True)
class ElementFault:
    """An element as it may stand there by mistake, and the words for the difference."""

    kind: FaultKind
    element: Element
    words: str


@dataclass(frozen=True, slots=True)
class OutputFault:
    """The same for an output."""

    kind: FaultKind
    output: Output
    words: str


BLOCK_FAULTS = {
    BlockFamily.TIMER: FaultKind.TIMER_KIND,
    BlockFamily.EDGE_DETECTOR: FaultKind.EDGE,
    BlockFamily.BISTABLE: FaultKind.BISTABLE,
}
"""The fault of a block that stands in place of another one of its family."""
assert all(
    block.family in BLOCK_FAULTS and family_of(other) is block.family
    for block in BLOCK_TYPES.values()
    for other in block.mistaken_for
), "blocks that are mistaken for each other are of one family, which has a fault"

SMALL = 100
"""Below, a literal counts things and is tried one off; from here on it measures."""


def element_name(element: Element, scope: Scope) -> str:
    """Return the element in the trade's words: ``contact low_level``, ``timer fill_delay``."""
    match element:
        case Contact(_, symbol):
            return f"contact {symbol}"
        case Comparison():
            return f"comparison {print_element(element)}"
        case Block(instance, _):
            return f"{family_of(scope.type_of(instance))} {instance}"


def output_name(output: Output) -> str:
    """Return the output in the trade's words: ``set coil running``, ``assignment n := n + 1``."""
    match output:
        case Coil(kind, symbol):
            return f"{kind} {symbol}"
        case AssignmentStatement():
            return f"assignment {print_output(output)}"


def element_faults(element: Element, scope: Scope) -> Iterator[ElementFault]:
    """Yield every element that one fault makes of this one.

    Opening and shorting it come besides.
    """
    match element:
        case Contact():
            yield from _contact(element, scope)
        case Comparison():
            yield from _comparison(element, scope)
        case Block():
            yield from _block(element, scope)


def output_faults(output: Output, scope: Scope) -> Iterator[OutputFault]:
    """Yield every output that one fault makes of this one; removing it comes besides."""
    match output:
        case Coil(kind, symbol):
            for other in CoilKind:
                if other is not kind:
                    words = f"{other} instead of {kind}"
                    yield OutputFault(FaultKind.COIL, replace(output, kind=other), words)
            for name in scope.others(symbol):
                changed = replace(output, symbol=name)
                yield OutputFault(FaultKind.EXCHANGED, changed, f"exchanged for {name}")
        case AssignmentStatement():
            yield from _assignment(output, scope)


def _contact(contact: Contact, scope: Scope) -> Iterator[ElementFault]:
    kind, symbol = contact.kind, contact.symbol
    fault = FaultKind.EDGE if kind.is_edge else FaultKind.NEGATED
    for other in kind.mistakes:
        yield ElementFault(fault, Contact(other, symbol), f"{other} instead of {kind}")
    for name in scope.others(symbol):
        yield ElementFault(FaultKind.EXCHANGED, Contact(kind, name), f"exchanged for {name}")


def _comparison(comparison: Comparison, scope: Scope) -> Iterator[ElementFault]:
    for relation in Relation:
        if relation is not comparison.relation:
            words = f"{relation} instead of {comparison.relation}"
            changed = replace(comparison, relation=relation)
            yield ElementFault(FaultKind.RELATION, changed, words)
    for kind, left, words in _operand(comparison.left, scope):
        yield ElementFault(kind, replace(comparison, left=left), words)
    for kind, right, words in _operand(comparison.right, scope):
        yield ElementFault(kind, replace(comparison, right=right), words)


def _assignment(output: AssignmentStatement, scope: Scope) -> Iterator[OutputFault]:
    for name in scope.others(output.target):
        words = f"{name} instead of {output.target}"
        yield OutputFault(FaultKind.EXCHANGED, replace(output, target=name), words)
    for kind, value, words in _values(output.value, scope):
        yield OutputFault(kind, output.with_value(value), words)


def _values(value: Calculated, scope: Scope) -> Iterator[tuple[FaultKind, Calculated, str]]:
    """Yield every value that one fault makes of this one, wherever in it the fault is."""
    if not isinstance(value, Formula):
        yield from _operand(value, scope)
        return
    operands, operator = value.operands, value.operator
    for place, operand in enumerate(operands):
        for kind, other, words in _values(operand, scope):
            changed = (*operands[:place], other, *operands[place + 1 :])
            yield kind, replace(value, operands=changed), words
    if operator.row.mistaken_for is None:
        return
    taken = tuple(operands[place] for place in operator.row.takes)
    other_operator = operator.mistake
    words = f"{other_operator or 'no function'} instead of {operator}"
    if other_operator is None:
        yield FaultKind.OPERATOR, taken[0], words
    else:
        if other_operator is operator:
            words = f"the operands of {operator} exchanged"
        yield FaultKind.OPERATOR, Formula(other_operator, taken), words


def _operand(operand: Operand, scope: Scope) -> Iterator[tuple[FaultKind, Operand, str]]:
    match operand:
        case Name(symbol):
            for name in scope.others(symbol):
                yield FaultKind.EXCHANGED, Name(name), f"{name} instead of {symbol}"
        case Number(value):
            for number in near(value):
                other = replace(operand, value=number, base=operand.base if number >= 0 else 10)
                words = f"{print_operand(other)} instead of {print_operand(operand)}"
                yield FaultKind.LITERAL, other, words
        case Duration(ms):
            for longer in half_and_double(ms):
                words = f"{print_duration(longer)} instead of {print_duration(ms)}"
                yield FaultKind.LITERAL, Duration(longer), words


def _block(block: Block, scope: Scope) -> Iterator[ElementFault]:
    for position, wired in enumerate(block.inputs):
        for kind, inputs, words in _input(wired, scope):
            changed = (*block.inputs[:position], *inputs, *block.inputs[position + 1 :])
            yield ElementFault(kind, replace(block, inputs=changed), words)


def _input(
    wired: BlockInput, scope: Scope
) -> Iterator[tuple[FaultKind, tuple[BlockInput, ...], str]]:
    match wired.operand:
        case Duration(ms):
            for other in half_and_double(ms):
                words = f"{print_duration(other)} instead of {print_duration(ms)}"
                yield FaultKind.TIMER_BOUND, (replace(wired, operand=Duration(other)),), words
        case Number(value):
            for number in (value - 1, value + 1):
                if INT_MIN <= number <= INT_MAX:
                    words = f"{wired.pin} {number} instead of {value}"
                    yield FaultKind.PRESET, (replace(wired, operand=Number(number)),), words
        case Name(symbol):
            if scope.is_bit(symbol):
                words = f"{wired.pin} {'without' if wired.negated else 'with'} NOT"
                yield FaultKind.INPUT, (replace(wired, negated=not wired.negated),), words
                yield FaultKind.INPUT, (), f"{wired.pin} left open"
            for name in scope.others(symbol):
                words = f"{wired.pin} from {name} instead of {symbol}"
                yield FaultKind.EXCHANGED, (replace(wired, operand=Name(name)),), words


def near(value: int) -> Iterator[int]:
    """Return numbers taken for this one by mistake: off by one where it counts, half, double."""
    others = (value - 1, value + 1) if abs(value) < SMALL else (value // 2, value * 2)
    return (other for other in others if INT_MIN <= other <= INT_MAX)


def half_and_double(ms: int) -> Iterator[int]:
    """Durations taken for this one by mistake, in milliseconds."""
    return (other for other in (ms // 2, ms * 2) if other != ms and other <= TIME_MAX_MS)
