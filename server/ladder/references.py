"""Where each symbol is read, written and called."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

from server.ladder.limits import RUNGS_REMEMBERED
from server.ladder.messages import Place
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Name,
    Operand,
    Output,
    Program,
    Rung,
    operands_of,
    walk,
)


class Usage(StrEnum):
    """What an occurrence does with a symbol."""

    READ = "read"
    WRITE = "write"
    CALL = "call"


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A symbol, a block output (``delay.Q``) or a bit (``steps.%X3``), at one place."""

    name: str
    role: Usage
    place: Place

    @property
    def symbol(self) -> str:
        """The declared symbol: ``delay`` for ``delay.Q``."""
        return self.name.partition(".")[0]


@dataclass(slots=True)
class Uses:
    """The places of one symbol, in the order of evaluation."""

    reads: list[Place] = field(default_factory=list)
    writes: list[Place] = field(default_factory=list)
    calls: list[Place] = field(default_factory=list)

    @property
    def all(self) -> list[Place]:
        return [*self.reads, *self.writes, *self.calls]


def occurrences(program: Program) -> Iterator[Occurrence]:
    """Yield every symbol of every rung, in the order of evaluation."""
    for index, rung in enumerate(program.rungs):
        for found in occurrences_in(rung):
            yield Occurrence(found.name, found.role, found.place.in_rung(index))


@lru_cache(RUNGS_REMEMBERED)
def occurrences_in(rung: Rung) -> tuple[Occurrence, ...]:
    """Return every symbol of one rung, in the order of evaluation; the places name no rung."""
    return tuple(_in_rung(rung))


def _in_rung(rung: Rung) -> Iterator[Occurrence]:
    for path, element in walk(rung.network):
        yield from _in_element(element, Place(path=path))
    for number, output in enumerate(rung.outputs):
        yield from _in_output(output, Place(output=number))


def cross_reference(program: Program) -> dict[str, Uses]:
    """Return the uses of each symbol, declared or not.

    A declared symbol that is never used has none.
    """
    uses = {variable.symbol: Uses() for variable in program.variables}
    for index, rung in enumerate(program.rungs):
        for found in occurrences_in(rung):
            of_symbol = uses.setdefault(found.symbol, Uses())
            place = found.place.in_rung(index)
            match found.role:
                case Usage.READ:
                    of_symbol.reads.append(place)
                case Usage.WRITE:
                    of_symbol.writes.append(place)
                case Usage.CALL:
                    of_symbol.calls.append(place)
    return uses


def _in_element(element: Element, place: Place) -> Iterator[Occurrence]:
    match element:
        case Contact(_, symbol):
            yield Occurrence(symbol, Usage.READ, place)
        case Comparison(left, _, right):
            yield from _in_operands(place, left, right)
        case Block(instance, inputs):
            yield Occurrence(instance, Usage.CALL, place)
            yield from _in_operands(place, *(wired.operand for wired in inputs))


def _in_output(output: Output, place: Place) -> Iterator[Occurrence]:
    match output:
        case Coil(_, symbol):
            yield Occurrence(symbol, Usage.WRITE, place)
        case AssignmentStatement(target):
            yield from _in_operands(place, *operands_of(output.value))
            yield Occurrence(target, Usage.WRITE, place)


def _in_operands(place: Place, *operands: Operand) -> Iterator[Occurrence]:
    for operand in operands:
        if isinstance(operand, Name):
            yield Occurrence(operand.symbol, Usage.READ, place)
