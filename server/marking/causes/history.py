"""What a program did, scan by scan, in one lane: its signals, and the power in its rungs."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Path
from server.scan.compiler import CompiledProgram
from server.scan.reading import planar, planes_of, value_of


@dataclass(frozen=True, slots=True)
class History:
    """The record that causes are looked for in.

    ``values`` int32[scans] holds each variable and block output at the end of each scan, by
    lower-case name; ``power`` bool[scans] the power that left each element, by rung and path (the
    network's result under the empty path); ``supply`` bool[scans] whether the controller had
    power. ``first`` is the number of the first scan recorded; ``before`` has the values as they
    were before it.
    """

    period_ms: int
    values: Mapping[str, NDArray[np.int32]]
    power: Mapping[tuple[int, Path], NDArray[np.bool_]]
    supply: NDArray[np.bool_]
    before: Mapping[str, int]
    first: int = 0

    @property
    def scans(self) -> int:
        """How many scans are recorded."""
        return self.supply.size


def planes_to_record(program: CompiledProgram, supply: int) -> list[int]:
    """Return the planes that ``history_of`` needs; the program is compiled with ``observe``."""
    signals = planar(program.symbols.items()).values()
    planes = {plane for signal in signals for plane in planes_of(signal)}
    return sorted(planes | set(program.power.values()) | {supply})


def history_of(
    program: CompiledProgram,
    supply: int,
    planes: list[int],
    bits: NDArray[np.bool_],
    period_ms: int,
    before: NDArray[np.bool_],
    first: int = 0,
) -> History:
    """Return a history from ``bits`` bool[scans, planes], recorded at the end of each scan.

    ``before`` bool[planes] are the same planes before the first of them.
    """
    column = {plane: i for i, plane in enumerate(planes)}
    supplied = bits[:, column[supply]]

    def values(of: NDArray[np.bool_]) -> dict[str, NDArray[np.int32]]:
        return {
            name: value_of(signal, of[..., [column[plane] for plane in planes_of(signal)]])
            for name, signal in planar(program.symbols.items()).items()
        }

    # A program that stands still for want of supply conducts nowhere.
    power = {place: bits[:, column[p]] & supplied for place, p in program.power.items()}
    at_first = {name: int(value) for name, value in values(before).items()}
    return History(period_ms, values(bits), power, supplied, at_first, first)
