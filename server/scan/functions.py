"""Functions of numbers that instructions which there are can do; ``FUNCTIONS`` is their table.

Each moves one of its operands to the target. In which lanes it moves which one excludes all the
others, so that an operand may be the target itself.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from server.scan.arithmetic import Operation
from server.scan.assembler import Assembler
from server.scan.instructions import Op


@dataclass(frozen=True, slots=True)
class Destination:
    """Where the result goes: the base of its planes, the plane of the power, that of the fault."""

    base: int
    power: int
    fault: int


Function: TypeAlias = Callable[..., None]
"""Emits a function, given the assembler, the target, and a plane or a base for each operand."""


def _move(asm: Assembler, target: Destination, where: int, a: int) -> None:
    asm.emit(Op.MOVE, target.base, a, asm.and_(target.power, where))


def _less(asm: Assembler, a: int, b: int) -> int:
    less = asm.temporary()
    asm.emit(Op.LT, less, a, b)
    return less


def _absolute(asm: Assembler, target: Destination, a: int) -> None:
    zero = asm.constant(0)
    negative = _less(asm, a, zero)
    # What is done in the lanes of a negative number leaves the others as they are.
    positive = asm.not_(negative)
    where = asm.and_(target.power, negative)
    asm.emit(Op.CALCULATE, target.base, zero, a, where, target.fault, Operation.SUB)
    _move(asm, target, positive, a)


def _smaller(asm: Assembler, target: Destination, a: int, b: int) -> None:
    less = _less(asm, a, b)
    _choose(asm, target, less, b, a)


def _larger(asm: Assembler, target: Destination, a: int, b: int) -> None:
    less = _less(asm, a, b)
    _choose(asm, target, less, a, b)


def _choose(asm: Assembler, target: Destination, select: int, a: int, b: int) -> None:
    """Move ``b`` where ``select``, else ``a``."""
    other = asm.not_(select)
    _move(asm, target, select, b)
    _move(asm, target, other, a)


def _limited(asm: Assembler, target: Destination, lowest: int, a: int, highest: int) -> None:
    """MIN(MAX(a, lowest), highest), as the standard says what LIMIT is (from memory)."""
    above = asm.or_(_less(asm, highest, a), _less(asm, highest, lowest))
    below = asm.and_not(_less(asm, a, lowest), above)
    within = asm.not_(asm.or_(above, below))
    for where, operand in ((above, highest), (below, lowest), (within, a)):
        _move(asm, target, where, operand)


FUNCTIONS: dict[str, Function] = {
    "ABS": _absolute,
    "MIN": _smaller,
    "MAX": _larger,
    "LIMIT": _limited,
    "SEL": _choose,
}
