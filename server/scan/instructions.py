"""The instructions of the bit machine, one row each.

Memory is ``bits: uint64[n]``: one word is one BOOL in 64 lanes (a *plane*). An INT is 16 planes
in two's complement, lowest bit first; a timer counts scans in planes. An instruction is one row of
``WIDTH`` uint32: the opcode, then its operands, mostly plane numbers.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Self

WIDTH = 9
INT_PLANES = 16

FALSE, TRUE = 0, 1
"""The two constant planes of every memory."""


@dataclass(frozen=True, slots=True)
class Operand:
    """What an instruction does with one of its operands.

    ``reads`` and ``writes`` speak of the planes from the operand on, so many as ``planes`` or, if
    that is None, as the next operand says. An operand that is neither is a plain number.
    """

    name: str
    reads: bool
    writes: bool
    planes: int | None


def _operand(written: str) -> Operand:
    """Read ``a`` (reads), ``=d`` (writes), ``+m`` (both), ``#n`` (a number), ``a[16]``."""
    sign = written[0] if written[0] in "=+#" else ""
    name, _, count = written.removeprefix(sign).rstrip("]").partition("[")
    planes = int(count) if count.isdigit() else None if count else 1
    return Operand(name, sign in ("", "+"), sign in ("=", "+"), planes)


class Op(IntEnum):
    """Bit instructions, executed by ``scan.kernel.execute``, with their operands in order."""

    operands: tuple[Operand, ...]

    # The default is for mypy, to which ``Op(3)`` is a call of this.
    def __new__(cls, code: int, operands: str = "") -> Self:
        member = int.__new__(cls, code)
        member._value_ = code
        member.operands = tuple(map(_operand, operands.split()))
        if not 0 < len(member.operands) < WIDTH:
            raise TypeError(f"Opcode {code} names no operands, or too many for a row.")
        return member

    COPY = 0, "=d a"  # d := a
    NOT = 1, "=d a"  # d := not a
    AND = 2, "=d a b"
    OR = 3, "=d a b"
    ANDN = 4, "=d a b"  # d := a and not b
    XOR = 5, "=d a b"
    MUX = 6, "=d s a b"  # d := a where s, else b
    SET = 7, "+d a"  # d := d or a
    RESET = 8, "+d a"  # d := d and not a
    RISE = 9, "=d a +m"  # d := a and not m; m := a
    FALL = 10, "=d a +m"  # d := m and not a; m := a
    TON = 11, "+q in +before +base[planes] #planes #start"
    TOF = 12, "+q in +before +base[planes] #planes #start"
    TP = 13, "+q in +before +base[planes] #planes #start"
    COUNT = 14, "+base[16] up down reset load #preset #highest #lowest"
    UGE = 15, "=d base[planes] #planes #constant"  # unsigned: base >= constant
    LT = 16, "=d a[16] b[16]"  # signed INT: a < b
    EQ = 17, "=d a[16] b[16]"  # INT: a = b
    MOVE = 18, "+base[16] a[16] en"  # base := a where en
    CALCULATE = 19, "+base[16] a[16] b[16] en +fault #operation"  # one of scan.arithmetic
    SAVE = 20, "power #first #last"  # keep the retained planes of table rows (plane, copy)
    RESTORE = 21, "power #first #last"  # without power: back to the copy, or the initial value
    SERIES = 22, "=d p1 p2 p3 p4 n1 n2 n3"  # d := every p and no n
