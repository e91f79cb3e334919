"""Signals back from planes: which planes a signal has, and its value from their bits."""

from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.scan.assembler import Bit, Elapsed, Quantity, Signal, Word
from server.scan.instructions import INT_PLANES

Planar: TypeAlias = Bit | Word | Elapsed
"""A signal that is held in planes."""

_WEIGHTS = np.int32(1) << np.arange(31, dtype=np.int32)


def planes_of(signal: Planar) -> range:
    """Return the planes of a signal, lowest bit first; none for a TON whose time is zero."""
    match signal:
        case Bit(plane):
            return range(plane, plane + 1)
        case Word(base, _):
            return range(base, base + INT_PLANES)
        case Elapsed(base, planes):
            return range(base, base + planes)


def value_of(signal: Planar, bits: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Return values from bool[..., planes]: 0 or 1, an INT, a WORD, or ET in milliseconds."""
    raw: NDArray[np.int32] = bits @ _WEIGHTS[: bits.shape[-1]]
    match signal:
        case Bit():
            return raw
        case Word(_, signed):
            return (raw ^ 0x8000) - 0x8000 if signed else raw
        case Elapsed(_, planes, start, period_ms, preset_ms):
            return np.minimum(((raw - start) % (1 << planes)) * period_ms, preset_ms)


def planar(signals: Iterable[tuple[str, Signal]]) -> dict[str, Planar]:
    """Return those of the named signals that are held in planes."""
    return {name: signal for name, signal in signals if not isinstance(signal, Quantity)}
