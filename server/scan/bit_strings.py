"""Functions of WORDs as gates on their 16 planes; ``BIT_STRING_FUNCTIONS`` is their table.

The meanings are those of IEC 61131-3's tables of bit shift and bitwise Boolean functions (from
memory): SHL and SHR fill with zeros, ROL and ROR are circular, and a negative N is an error, which
here leaves the target as it was and sets the fault. A result is complete before the target gets it,
so that an operand may be the target itself.
"""

from collections.abc import Callable, Sequence

from server.scan.assembler import Assembler
from server.scan.functions import Destination, Function
from server.scan.instructions import FALSE, INT_PLANES, Op

_SIGN = INT_PLANES - 1
_STEPS = tuple(range(INT_PLANES.bit_length() - 1))
"""The bits of N that move a WORD by fewer places than it has."""


def unsigned_order(asm: Assembler, base: int) -> int:
    """Return the base of a number that compares as an INT as the WORD at ``base`` does unsigned."""
    value = asm.constant_at(base)
    if value is not None:
        return asm.constant(value ^ 1 << _SIGN)
    flipped = asm.word()
    for i in range(_SIGN):
        asm.copy_to(flipped + i, base + i)
    asm.emit(Op.NOT, flipped + _SIGN, base + _SIGN)
    return flipped


def _put(asm: Assembler, target: Destination, planes: Sequence[int], where: int) -> None:
    """Move planes that stand anywhere to the target, in the lanes of ``where``."""
    whole = asm.word()
    for i, plane in enumerate(planes):
        asm.copy_to(whole + i, plane)
    asm.emit(Op.MOVE, target.base, whole, where)


def _joined(gate: Op) -> Function:
    def emit(asm: Assembler, target: Destination, a: int, b: int) -> None:
        whole = asm.word()
        for i in range(INT_PLANES):
            asm.emit(gate, whole + i, a + i, b + i)
        asm.emit(Op.MOVE, target.base, whole, target.power)

    return emit


def _inverted(asm: Assembler, target: Destination, a: int) -> None:
    whole = asm.word()
    for i in range(INT_PLANES):
        asm.emit(Op.NOT, whole + i, a + i)
    asm.emit(Op.MOVE, target.base, whole, target.power)


def _moved(asm: Assembler, target: Destination, a: int) -> None:
    """Move the same 16 bits, which is what a conversion between INT and WORD does."""
    asm.emit(Op.MOVE, target.base, a, target.power)


Places = Callable[[Sequence[int], int], list[int]]
"""Which planes a WORD has after its bits were moved by so many places."""


def _left(planes: Sequence[int], places: int) -> list[int]:
    return [FALSE] * min(places, INT_PLANES) + list(planes[: max(INT_PLANES - places, 0)])


def _right(planes: Sequence[int], places: int) -> list[int]:
    return list(planes[places:]) + [FALSE] * min(places, INT_PLANES)


def _around_left(planes: Sequence[int], places: int) -> list[int]:
    at = -places % INT_PLANES
    return [*planes[at:], *planes[:at]]


def _around_right(planes: Sequence[int], places: int) -> list[int]:
    return _around_left(planes, -places)


def _shifted(by: Places, *, circular: bool) -> Function:
    def emit(asm: Assembler, target: Destination, a: int, n: int) -> None:
        planes: list[int] = list(range(a, a + INT_PLANES))
        places = asm.constant_at(n)
        if places is not None and places >> _SIGN == 0:
            _put(asm, target, by(planes, places), target.power)
            return
        for step in _STEPS:
            moved = by(planes, 1 << step)
            planes = [
                asm.mux(n + step, after, before)
                for after, before in zip(moved, planes, strict=True)
            ]
        if not circular:
            many = FALSE
            for bit in range(len(_STEPS), _SIGN):
                many = asm.or_(many, n + bit)
            planes = [asm.and_not(plane, many) for plane in planes]
        negative = n + _SIGN
        asm.emit(Op.SET, target.fault, asm.and_(target.power, negative))
        _put(asm, target, planes, asm.and_not(target.power, negative))

    return emit


BIT_STRING_FUNCTIONS: dict[str, Function] = {
    "NOT": _inverted,
    "AND": _joined(Op.AND),
    "OR": _joined(Op.OR),
    "XOR": _joined(Op.XOR),
    "SHL": _shifted(_left, circular=False),
    "SHR": _shifted(_right, circular=False),
    "ROL": _shifted(_around_left, circular=True),
    "ROR": _shifted(_around_right, circular=True),
    "INT_TO_WORD": _moved,
    "WORD_TO_INT": _moved,
}
