"""The kernel: one pass over bit instructions, 64 lanes at once. The only interpreter there is.

Arrays only; nothing is checked here. ``scan.assembler`` makes code that stays inside its memory;
the tests run it once with NUMBA_BOUNDSCHECK=1 and once without compilation.
"""

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.scan.arithmetic import calculate
from server.scan.instructions import INT_PLANES, Op
from server.scan.jit import inlined
from server.scan.lanes import ALL

COPY, NOT, AND, OR, ANDN, XOR = (int(o) for o in (Op.COPY, Op.NOT, Op.AND, Op.OR, Op.ANDN, Op.XOR))
MUX, SET, RESET, RISE, FALL = (int(o) for o in (Op.MUX, Op.SET, Op.RESET, Op.RISE, Op.FALL))
TON, TOF, TP, COUNT, UGE = (int(o) for o in (Op.TON, Op.TOF, Op.TP, Op.COUNT, Op.UGE))
LT, EQ, MOVE, CALCULATE = (int(o) for o in (Op.LT, Op.EQ, Op.MOVE, Op.CALCULATE))
SAVE, RESTORE, SERIES = (int(o) for o in (Op.SAVE, Op.RESTORE, Op.SERIES))

_ZERO = np.uint64(0)
# Unsigned, as every index here: a signed one is first asked whether it counts from the end.
_PLANES, _SIGN = np.uint64(INT_PLANES), np.uint64(INT_PLANES - 1)


@inlined
def _load(bits: NDArray[np.uint64], base: int, planes: int, value: int, where: np.uint64) -> None:
    """Write a constant into the lanes of ``where``."""
    for i in range(uint64(planes)):
        if (value >> i) & 1:
            bits[base + i] |= where
        else:
            bits[base + i] &= ~where


@inlined
def _increment(bits: NDArray[np.uint64], base: int, planes: int, where: np.uint64) -> np.uint64:
    """Add one in the lanes of ``where``; returns the lanes that carried out."""
    carry = where
    for i in range(uint64(planes)):
        if carry == _ZERO:
            break
        plane: np.uint64 = bits[base + i]
        bits[base + i] = plane ^ carry
        carry = carry & plane
    return carry


@inlined
def _decrement(bits: NDArray[np.uint64], base: int, planes: int, where: np.uint64) -> None:
    borrow = where
    for i in range(uint64(planes)):
        if borrow == _ZERO:
            break
        plane = bits[base + i]
        bits[base + i] = plane ^ borrow
        borrow &= ~plane


@inlined
def _unsigned_ge(bits: NDArray[np.uint64], base: int, planes: int, value: int) -> np.uint64:
    ge: np.uint64 = ALL
    for i in range(uint64(planes)):
        plane = bits[base + i]
        if (value >> i) & 1:
            ge &= plane
        else:
            ge |= plane
    return ge


@inlined
def _equals(bits: NDArray[np.uint64], base: int, planes: int, value: int) -> np.uint64:
    same = ALL
    for i in range(uint64(planes)):
        if (value >> i) & 1:
            same &= bits[base + i]
        else:
            same &= ~bits[base + i]
    return same


@inlined
def _signed_less(bits: NDArray[np.uint64], a: int, b: int) -> np.uint64:
    less = _ZERO
    for i in range(_SIGN):
        x, y = bits[a + i], bits[b + i]
        less = (~x & y) | (~(x ^ y) & less)
    x, y = bits[a + _SIGN], bits[b + _SIGN]
    result: np.uint64 = (x & ~y) | (~(x ^ y) & less)
    return result


@inlined
def _count(bits: NDArray[np.uint64], code: NDArray[np.uint32], pc: int) -> None:
    """CTU, CTD and CTUD in one: reset over load over counting; both edges: no change."""
    base = code[pc, 1]
    up = bits[code[pc, 2]]
    down = bits[code[pc, 3]]
    reset = bits[code[pc, 4]]
    load = bits[code[pc, 5]] & ~reset
    if (up | down | reset | load) == _ZERO:
        return
    counting = ~(reset | load)
    rising = up & ~down & counting
    falling = down & ~up & counting
    if rising != _ZERO:
        rising &= ~_equals(bits, base, INT_PLANES, code[pc, 7])
        _increment(bits, base, INT_PLANES, rising)
    if falling != _ZERO:
        falling &= ~_equals(bits, base, INT_PLANES, code[pc, 8])
        _decrement(bits, base, INT_PLANES, falling)
    if reset != _ZERO:
        _load(bits, base, INT_PLANES, 0, reset)
    if load != _ZERO:
        _load(bits, base, INT_PLANES, code[pc, 6], load)


@inlined
def _timer(op: int, bits: NDArray[np.uint64], code: NDArray[np.uint32], pc: int) -> None:
    """TON, TOF, TP. The count starts at 2**planes - preset, so that the carry says 'time over'."""
    q = bits[code[pc, 1]]
    x = bits[code[pc, 2]]
    before = bits[code[pc, 3]]
    base = code[pc, 4]
    planes = code[pc, 5]
    start = code[pc, 6]
    if op == TON:
        if (x | before) == _ZERO:
            return
        off = before & ~x
        if off != _ZERO:
            _load(bits, base, planes, start, off)
        over = _increment(bits, base, planes, x & before & ~q)
        q = (q | over) & x
    elif op == TOF:
        fresh = x & ~before
        if fresh != _ZERO:
            _load(bits, base, planes, start, fresh)
        over = _increment(bits, base, planes, q & ~x & ~before)
        q = x | (q & ~over)
    else:
        fresh = x & ~before & ~q
        over = _increment(bits, base, planes, q)
        q &= ~over
        idle = (~x & ~q) | fresh
        if idle != _ZERO:
            _load(bits, base, planes, start, idle)
        q |= fresh
    bits[code[pc, 1]] = q
    bits[code[pc, 3]] = x


@inlined
def _word(op: int, bits: NDArray[np.uint64], code: NDArray[np.uint32], pc: int) -> None:
    """Execute an instruction on numbers of several planes."""
    if op == COUNT:
        _count(bits, code, pc)
    elif op == UGE:
        bits[code[pc, 1]] = _unsigned_ge(bits, code[pc, 2], code[pc, 3], code[pc, 4])
    elif op == LT:
        bits[code[pc, 1]] = _signed_less(bits, code[pc, 2], code[pc, 3])
    elif op == EQ:
        same = ALL
        for i in range(_PLANES):
            same &= ~(bits[code[pc, 2] + i] ^ bits[code[pc, 3] + i])
        bits[code[pc, 1]] = same
    elif op == MOVE:
        enable = bits[code[pc, 3]]
        if enable != _ZERO:
            for i in range(_PLANES):
                d, a = code[pc, 1] + i, code[pc, 2] + i
                bits[d] = (bits[d] & ~enable) | (bits[a] & enable)
    elif op == CALCULATE:
        enable = bits[code[pc, 4]]
        if enable != _ZERO:
            d, x, y, fault = code[pc, 1], code[pc, 2], code[pc, 3], code[pc, 5]
            calculate(code[pc, 6], bits, d, x, y, enable, fault)


@inlined
def _retain(
    op: int,
    bits: NDArray[np.uint64],
    code: NDArray[np.uint32],
    pc: int,
    initial: NDArray[np.uint64],
    table: NDArray[np.int32],
) -> None:
    """Keep (SAVE) or bring back (RESTORE) the retained planes of lanes without power."""
    if op == SAVE:
        if bits[code[pc, 1]] != ALL:
            for i in range(code[pc, 2], code[pc, 3]):
                bits[table[i, 1]] = bits[table[i, 0]]
    else:
        power = bits[code[pc, 1]]
        if power != ALL:
            for i in range(code[pc, 2], code[pc, 3]):
                plane = table[i, 0]
                kept = bits[table[i, 1]] if table[i, 1] >= 0 else initial[plane]
                bits[plane] = (bits[plane] & power) | (kept & ~power)


@inlined
def execute(
    code: NDArray[np.uint32],
    first: int,
    last: int,
    bits: NDArray[np.uint64],
    initial: NDArray[np.uint64],
    table: NDArray[np.int32],
) -> None:
    """Execute ``code[first:last]`` once; ``bits`` is modified in place.

    ``initial`` holds the memory at a cold start and ``table`` the plane lists of SAVE and RESTORE.
    """
    for pc in range(uint64(first), uint64(last)):
        op = code[pc, 0]
        if op == AND:
            bits[code[pc, 1]] = bits[code[pc, 2]] & bits[code[pc, 3]]
        elif op == OR:
            bits[code[pc, 1]] = bits[code[pc, 2]] | bits[code[pc, 3]]
        elif op == ANDN:
            bits[code[pc, 1]] = bits[code[pc, 2]] & ~bits[code[pc, 3]]
        elif op == SERIES:
            one, two = bits[code[pc, 2]] & bits[code[pc, 3]], bits[code[pc, 4]] & bits[code[pc, 5]]
            opened = bits[code[pc, 6]] | bits[code[pc, 7]] | bits[code[pc, 8]]
            bits[code[pc, 1]] = (one & two) & ~opened
        elif op == COPY:
            bits[code[pc, 1]] = bits[code[pc, 2]]
        elif op == NOT:
            bits[code[pc, 1]] = ~bits[code[pc, 2]]
        elif op == XOR:
            bits[code[pc, 1]] = bits[code[pc, 2]] ^ bits[code[pc, 3]]
        elif op == MUX:
            s = bits[code[pc, 2]]
            bits[code[pc, 1]] = (bits[code[pc, 3]] & s) | (bits[code[pc, 4]] & ~s)
        elif op == SET:
            bits[code[pc, 1]] |= bits[code[pc, 2]]
        elif op == RESET:
            bits[code[pc, 1]] &= ~bits[code[pc, 2]]
        elif op == RISE:
            a = bits[code[pc, 2]]
            bits[code[pc, 1]] = a & ~bits[code[pc, 3]]
            bits[code[pc, 3]] = a
        elif op == FALL:
            a = bits[code[pc, 2]]
            bits[code[pc, 1]] = bits[code[pc, 3]] & ~a
            bits[code[pc, 3]] = a
        elif op == TON or op == TOF or op == TP:
            _timer(op, bits, code, pc)
        elif op == SAVE or op == RESTORE:
            _retain(op, bits, code, pc, initial, table)
        else:
            _word(op, bits, code, pc)
