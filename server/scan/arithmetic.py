"""Arithmetic on INTs in 64 lanes: what each operator of an assignment calculates.

A lane whose result is out of INT's range, or does not exist, keeps its target and sets the fault.
"""

from enum import IntEnum

import numpy as np
from numba import int64, uint64
from numpy.typing import NDArray

from server.scan.instructions import INT_PLANES
from server.scan.jit import allocating, inlined, jitted
from server.scan.lanes import ALL, transpose


class Operation(IntEnum):
    """What CALCULATE does; named as the operators' rows name their standard functions."""

    ADD = 0
    SUB = 1
    MUL = 2
    DIV = 3
    MOD = 4


ADD, SUB, MUL, DIV, MOD = (int(operation) for operation in Operation)

_ZERO = np.uint64(0)
# Unsigned, as every index here: a signed one is first asked whether it counts from the end.
_PLANES = np.uint64(INT_PLANES)


@inlined
def _result(operation: int, x: np.int64, y: np.int64) -> tuple[np.int64, bool]:
    """Calculate in one lane: the result, which may be out of range, and whether there is one."""
    if operation == MUL:
        return x * y, True
    if operation == DIV and y != 0:
        quotient = abs(x) // abs(y)
        return (quotient if (x < 0) == (y < 0) else -quotient), True
    if operation == MOD:
        if y == 0:
            return int64(0), True
        remainder = abs(x) % abs(y)
        return (-remainder if x < 0 else remainder), True
    return int64(0), False


@allocating
def _by_lane(
    operation: int, bits: NDArray[np.uint64], d: int, a: int, b: int, enable: np.uint64, fault: int
) -> None:
    """Calculate in the lanes of ``enable``, by way of one word per lane."""
    words = np.zeros(64, np.uint64)
    for i in range(_PLANES):
        words[i] = bits[a + i]
        words[16 + i] = bits[b + i]
    transpose(words)
    faulty = _ZERO
    for lane in range(64):
        one = uint64(1) << uint64(lane)
        if not enable & one:
            words[lane] = _ZERO
            continue
        word = np.int64(words[lane])
        x = ((word & 0xFFFF) ^ 0x8000) - 0x8000
        y = (((word >> 16) & 0xFFFF) ^ 0x8000) - 0x8000
        result, exists = _result(operation, x, y)
        if not exists or result < -32768 or result > 32767:
            faulty |= one
            result = np.int64(0)
        words[lane] = uint64(result & 0xFFFF)
    transpose(words)
    keep = ~enable | faulty
    for i in range(_PLANES):
        bits[d + i] = (bits[d + i] & keep) | (words[i] & ~keep)
    bits[fault] |= faulty


@inlined
def _add(
    bits: NDArray[np.uint64], d: int, a: int, b: int, enable: np.uint64, fault: int, subtract: bool
) -> None:
    """Ripple-carry sum or difference."""
    flip = ALL if subtract else _ZERO
    carry = flip
    before = carry
    for i in range(_PLANES):
        x = bits[a + i]
        y = bits[b + i] ^ flip
        before = carry
        carry = (x & y) | (carry & (x ^ y))
    overflow = (before ^ carry) & enable
    keep = ~enable | overflow
    carry = flip
    for i in range(_PLANES):
        x = bits[a + i]
        y = bits[b + i] ^ flip
        bits[d + i] = (bits[d + i] & keep) | ((x ^ y ^ carry) & ~keep)
        carry = (x & y) | (carry & (x ^ y))
    bits[fault] |= overflow


@jitted
def calculate(
    operation: int, bits: NDArray[np.uint64], d: int, a: int, b: int, enable: np.uint64, fault: int
) -> None:
    """``d := a operation b`` on 16 planes each, in the lanes of ``enable``."""
    if operation == ADD or operation == SUB:
        _add(bits, d, a, b, enable, fault, operation == SUB)
    else:
        _by_lane(operation, bits, d, a, b, enable, fault)
