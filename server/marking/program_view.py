"""A student's program seen beside its exercise: own names, coils by rung, elements used."""

from collections.abc import Iterable
from dataclasses import dataclass

from server.ladder.elements import CoilKind, ContactKind, Operator
from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Output,
    Parallel,
    Program,
    Series,
    formulas,
    walk,
)
from server.marking.signal_path import rungs_between

COMPARISON, ASSIGNMENT = "comparison", "assignment"
"""What the elements without a kind of their own are called."""

SHIFT = "shift or rotation"
_SHIFTS = (Operator.SHL, Operator.SHR, Operator.ROL, Operator.ROR)


@dataclass(frozen=True, slots=True)
class ProgramView:
    """A program beside its exercise.

    ``points`` is the table of points, ``internal_bits`` those that the exercise names, ``stated``
    the numbers of its stated requirements.
    """

    program: Program
    points: tuple[PointDeclaration, ...]
    internal_bits: tuple[PointDeclaration, ...]
    stated: tuple[str, ...]

    def own_name(self, symbol: str) -> str | None:
        """Return the student's symbol for a point or internal bit, found by address.

        None if missing.

        An internal bit may also be declared without an address under the symbol of the statement.
        """
        table = (*self.points, *self.internal_bits)
        address = next(p.address for p in table if p.symbol == symbol)
        internal = symbol in {p.symbol for p in self.internal_bits}
        for variable in self.program.variables:
            if variable.address == address:
                return variable.symbol
        named = {v.symbol for v in self.program.variables if v.address is None}
        return symbol if internal and symbol in named else None

    def writes(self) -> Iterable[tuple[int, Output]]:
        """Yield every output with the number of its rung, from 1."""
        for number, rung in enumerate(self.program.rungs, 1):
            for output in rung.outputs:
                yield number, output

    def coils(self, symbol: str, *kinds: CoilKind) -> list[int]:
        """Return rungs that hold a coil of one of the kinds on the student's symbol."""
        return [
            number
            for number, output in self.writes()
            if isinstance(output, Coil) and output.symbol == symbol and output.kind in kinds
        ]

    def internal(self) -> list[str]:
        """Return the student's BOOLs that are no point of the table."""
        return [
            v.symbol
            for v in self.program.variables
            if v.type == "BOOL" and (v.address is None or v.address.startswith("%M"))
        ]

    def at_work(self, output: str = "") -> set[int]:
        """Return the rungs, from 1, on a path from an input to an output (any, or this)."""
        own = {p.symbol: self.own_name(p.symbol) for p in self.points}
        inputs = [own[p.symbol] for p in self.points if p.direction is Direction.INPUT]
        outputs = [
            own[p.symbol]
            for p in self.points
            if p.direction is Direction.OUTPUT and output in ("", p.symbol)
        ]
        return rungs_between(self.program, filter(None, inputs), filter(None, outputs))

    def used(self, element: str, preset_ms: int | None = None) -> list[int]:
        """Return the rungs, from 1, with an element of ``ELEMENTS``, once for each of it.

        With ``preset_ms`` a block counts only with about that preset.
        """
        types = {v.symbol: v.type for v in self.program.variables}
        found = []
        for number, rung in enumerate(self.program.rungs, 1):
            for _, each in walk(rung.network):
                if _name_of(each, types) == element and _has_preset(each, preset_ms):
                    found.append(number)
        found += [number for number, output in self.writes() if element in _names_of_output(output)]
        return sorted(found)


def _has_preset(element: Element, preset_ms: int | None) -> bool:
    """Tell whether a block's preset is within a tenth of what is asked for, or not a literal."""
    if preset_ms is None or not isinstance(element, Block):
        return True
    literals = [wired.operand for wired in element.inputs if isinstance(wired.operand, Duration)]
    return all(abs(literal.ms - preset_ms) * 10 <= preset_ms for literal in literals)


def _name_of(element: Element, types: dict[str, str]) -> str:
    match element:
        case Contact(kind, _):
            return f"{kind} contact"
        case Comparison():
            return COMPARISON
        case Block(instance, _):
            return types[instance]


def _names_of_output(output: Output) -> tuple[str, ...]:
    match output:
        case Coil(kind, _):
            return (kind,)
        case AssignmentStatement():
            shifts = any(formula.operator in _SHIFTS for formula in formulas(output.value))
            return (ASSIGNMENT, SHIFT) if shifts else (ASSIGNMENT,)


def sealed(network: Series, symbol: str) -> bool:
    """Return whether an open contact on the symbol stands in one of several parallel branches."""
    seal = Contact(ContactKind.OPEN, symbol)
    for item in network.items:
        if not isinstance(item, Parallel):
            continue
        holds = [any(element == seal for _, element in walk(branch)) for branch in item.branches]
        if any(holds) and not all(holds):
            return True
        if any(sealed(branch, symbol) for branch in item.branches):
            return True
    return False
