"""The instructions of the bit machine, and how to read them back.

Memory is ``bits: uint64[n]``: one word is one BOOL in 64 lanes (a *plane*). An INT is 16 planes
in two's complement, lowest bit first; a timer counts scans in planes. An instruction is one row of
``WIDTH`` uint32: the opcode, then its operands, mostly plane numbers. The comment behind each
opcode names the operands in order.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

WIDTH = 9
INT_PLANES = 16

FALSE, TRUE = 0, 1
"""The two constant planes of every memory."""


class Op(IntEnum):
    """Bit instructions, executed by ``scan.kernel.execute``."""

    COPY = 0  # d a            d := a
    NOT = 1  # d a             d := not a
    AND = 2  # d a b
    OR = 3  # d a b
    ANDN = 4  # d a b          d := a and not b
    XOR = 5  # d a b
    MUX = 6  # d s a b         d := a where s, else b
    SET = 7  # d a             d := d or a
    RESET = 8  # d a           d := d and not a
    RISE = 9  # d a m          d := a and not m; m := a
    FALL = 10  # d a m         d := m and not a; m := a
    TON = 11  # q in before base planes start
    TOF = 12  # q in before base planes start
    TP = 13  # q in before base planes start
    COUNT = 14  # base up down reset load preset highest lowest
    UGE = 15  # d base planes constant     unsigned: base >= constant
    LT = 16  # d a b           signed INT: a < b
    EQ = 17  # d a b           INT: a = b
    MOVE = 18  # base a en     base := a where en
    ADD = 19  # base a b en fault
    SUB = 20  # base a b en fault
    MUL = 21  # base a b en fault
    DIV = 22  # base a b en fault          truncated toward zero
    SAVE = 23  # power first last          keep the retained planes of table rows (plane, copy)
    RESTORE = 24  # power first last       without power: back to the copy, or to the initial value
    SERIES = 25  # d p1 p2 p3 p4 n1 n2 n3  d := every p and no n


OPERANDS: dict[Op, str] = {
    Op.COPY: "d a",
    Op.NOT: "d a",
    Op.AND: "d a b",
    Op.OR: "d a b",
    Op.ANDN: "d a b",
    Op.XOR: "d a b",
    Op.MUX: "d s a b",
    Op.SET: "d a",
    Op.RESET: "d a",
    Op.RISE: "d a m",
    Op.FALL: "d a m",
    Op.TON: "q in before base planes start",
    Op.TOF: "q in before base planes start",
    Op.TP: "q in before base planes start",
    Op.COUNT: "base up down reset load preset highest lowest",
    Op.UGE: "d base planes constant",
    Op.LT: "d a b",
    Op.EQ: "d a b",
    Op.MOVE: "base a en",
    Op.ADD: "base a b en fault",
    Op.SUB: "base a b en fault",
    Op.MUL: "base a b en fault",
    Op.DIV: "base a b en fault",
    Op.SAVE: "power first last",
    Op.RESTORE: "power first last",
    Op.SERIES: "d p1 p2 p3 p4 n1 n2 n3",
}
assert set(OPERANDS) == set(Op), "every opcode names its operands"


def listing(code: NDArray[np.uint32]) -> str:
    """The instructions as text, one a line."""
    lines = []
    for number, row in enumerate(code):
        op = Op(int(row[0]))
        names = OPERANDS[op].split()
        shown = " ".join(
            f"{name}={int(value)}" for name, value in zip(names, row[1:], strict=False)
        )
        lines.append(f"{number:4d} {op.name:8s}{shown}")
    return "\n".join(lines)
