"""64 lanes to words and back: the 64 x 64 bit transpose that everything per lane rests on."""

import numpy as np
from numba import uint64
from numpy.typing import NDArray

from server.scan.jit import jitted

LANES = 64
ALL = np.uint64(0xFFFFFFFFFFFFFFFF)

_M32 = np.uint64(0x00000000FFFFFFFF)
_M16 = np.uint64(0x0000FFFF0000FFFF)
_M8 = np.uint64(0x00FF00FF00FF00FF)
_M4 = np.uint64(0x0F0F0F0F0F0F0F0F)
_M2 = np.uint64(0x3333333333333333)
_M1 = np.uint64(0x5555555555555555)


@jitted
def _swap(words: NDArray[np.uint64], step: int, mask: np.uint64) -> None:
    shift = uint64(step)
    for block in range(0, 64, 2 * step):
        for i in range(block, block + step):
            low = words[i]
            high = words[i + step]
            t = ((low >> shift) ^ high) & mask
            words[i + step] = high ^ t
            words[i] = low ^ (t << shift)


@jitted
def transpose(words: NDArray[np.uint64]) -> None:
    """Transpose 64 words in place: bit j of word i becomes bit i of word j."""
    _swap(words, 32, _M32)
    _swap(words, 16, _M16)
    _swap(words, 8, _M8)
    _swap(words, 4, _M4)
    _swap(words, 2, _M2)
    _swap(words, 1, _M1)


def plane_of(lanes: NDArray[np.bool_]) -> np.uint64:
    """Return one plane from up to 64 booleans, lane 0 first."""
    word = 0
    for lane, value in enumerate(lanes):
        word |= int(bool(value)) << lane
    return np.uint64(word)
