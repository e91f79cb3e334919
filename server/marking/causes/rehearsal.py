"""What if: a program runs again on its recorded inputs, with one change removed in each lane."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from server.ladder.points import Direction, direction_of
from server.ladder.program import Program
from server.marking.causes.history import History
from server.scan.assembler import Assembler, Bit, Quantity, Signal, Word
from server.scan.compiler import compile_program
from server.scan.instructions import INT_PLANES
from server.scan.kernel import execute
from server.scan.lanes import ALL, LANES
from server.scan.reading import planes_of

SUPPLY = "the supply"
"""The controller's supply among the inputs; no symbol has a space in it."""


@dataclass(frozen=True, slots=True)
class InputChange:
    """An input, or the supply, took another value in a scan (or had it from the start, scan 0)."""

    symbol: str
    scan: int


def changes_of(program: Program, history: History, last: int) -> list[InputChange]:
    """Return every change of an input after the first scan and up to ``last``, the latest first."""
    found = []
    for name, values in _inputs(program, history).items():
        at = np.flatnonzero(np.diff(values[: last + 1])) + 1
        found += [InputChange(name, int(scan)) for scan in at]
    return sorted(found, key=lambda change: -change.scan)


def decisive_changes(
    program: Program, history: History, signal: str, last: int, changes: Sequence[InputChange]
) -> list[InputChange]:
    """Return the changes without which ``signal`` would be another at the end of ``last``.

    Without a change the input keeps, from that scan on, the value that it had before: for a BOOL
    from the start the other one. The history begins with the first scan.
    """
    assert history.first == 0, "a program is run again from its first scan"
    one_less = LANES - 1  # the last lane runs as recorded
    return [
        change
        for i in range(0, len(changes), one_less)
        for change in _decisive(program, history, signal, last, changes[i : i + one_less])
    ]


def _decisive(
    program: Program, history: History, signal: str, last: int, changes: Sequence[InputChange]
) -> list[InputChange]:
    asm = Assembler(history.period_ms)
    recorded = _inputs(program, history)
    signals: dict[str, Signal] = {}
    planes: list[int] = []
    columns: list[NDArray[np.uint64]] = []
    for name, values in recorded.items():
        number = _is_number(program, name)
        own = [asm.control() for _ in range(INT_PLANES if number else 1)]
        signals[name] = Word(own[0]) if number else Bit(own[0])
        planes += own
        columns += [_lanes(name, values[: last + 1], i, changes) for i in range(len(own))]
    supply = signals.pop(SUPPLY)
    assert isinstance(supply, Bit), "the supply is one plane"
    addressed = {
        v.address: signals[v.symbol.lower()]
        for v in program.variables
        if v.address is not None and v.symbol.lower() in signals
    }
    compiled = compile_program(asm, program, addressed, supply.plane)
    machine = asm.machine()
    bits = machine.initial.copy()
    _rehearse(
        *(machine.code, bits, machine.initial, machine.table),
        *(np.array(planes, np.int64), np.stack(columns, axis=1)),
    )
    asked = compiled.symbols[signal]
    assert not isinstance(asked, Quantity), "a program has no quantities"
    differs = np.uint64(0)
    for plane in planes_of(asked):
        as_recorded = ALL if int(bits[plane]) >> (LANES - 1) else np.uint64(0)
        differs |= bits[plane] ^ as_recorded
    return [change for lane, change in enumerate(changes) if (int(differs) >> lane) & 1]


@njit(cache=True)
def _rehearse(
    code: NDArray[np.uint32],
    bits: NDArray[np.uint64],
    initial: NDArray[np.uint64],
    table: NDArray[np.int32],
    planes: NDArray[np.int64],
    inputs: NDArray[np.uint64],
) -> None:
    """Run one scan for each row of ``inputs`` uint64[scans, planes]; ``bits`` is modified."""
    for scan in range(inputs.shape[0]):
        for i in range(planes.size):
            bits[planes[i]] = inputs[scan, i]
        execute(code, 0, code.shape[0], bits, initial, table)


def _inputs(program: Program, history: History) -> dict[str, NDArray[np.int32]]:
    """Return recorded input points by symbol, and the supply."""
    points = {
        v.symbol.lower(): history.values[v.symbol.lower()]
        for v in program.variables
        if direction_of(v.address) is Direction.INPUT
    }
    return {**points, SUPPLY: history.supply.astype(np.int32)}


def _is_number(program: Program, name: str) -> bool:
    return any(v.symbol.lower() == name and v.type == "INT" for v in program.variables)


def _lanes(
    name: str, values: NDArray[np.int32], bit: int, changes: Sequence[InputChange]
) -> NDArray[np.uint64]:
    """Return an input plane, scan by scan: as recorded, without each lane's own change."""
    column = np.where((values >> bit) & 1, ALL, np.uint64(0))
    for lane, change in enumerate(changes):
        if change.symbol == name:
            before = int(values[change.scan - 1]) if change.scan else int(not values[0])
            one = np.uint64(1 << lane)
            rest = column[change.scan :]
            column[change.scan :] = rest | one if (before >> bit) & 1 else rest & ~one
    return column
