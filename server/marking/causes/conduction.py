"""Which elements let power through in a recorded scan, and which of them made the difference."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.ladder.elements import BLOCK_TYPES, NUMERIC, CoilKind, ContactKind
from server.ladder.names import bit_of
from server.ladder.points import Direction, direction_of
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Item,
    Parallel,
    Path,
    Program,
    Series,
    Variable,
    walk,
)
from server.marking.causes.history import History
from server.marking.phrases import seconds

Spot: TypeAlias = tuple[int, Path]
"""A rung and the path of an element in it."""

Chain: TypeAlias = list[tuple[Path, Item]]
"""Items in series with their paths."""

END = 1 << 30
"""The position behind everything that writes in a scan."""


@dataclass(frozen=True, slots=True)
class Write:
    """One place that writes a signal.

    ``position`` counts elements and outputs in the order of evaluation. ``spot`` is that of a
    block, or the rung's own with an empty path.
    """

    position: int
    spot: Spot
    by: Coil | AssignmentStatement | Block


@dataclass(frozen=True)
class Conduction:
    """A program and its history, asked scan by scan. Scans are indices into the history."""

    program: Program
    history: History

    @cached_property
    def variables(self) -> dict[str, Variable]:
        return {v.symbol.lower(): v for v in self.program.variables}

    def is_number(self, symbol: str) -> bool:
        """Return whether a signal is no BOOL but a variable with a value."""
        variable = self.variables.get(symbol)
        return variable is not None and variable.type in NUMERIC

    @cached_property
    def inputs(self) -> frozenset[str]:
        """Symbols of input points."""
        return frozenset(
            name
            for name, variable in self.variables.items()
            if direction_of(variable.address) is Direction.INPUT
        )

    @cached_property
    def writes(self) -> dict[str, list[Write]]:
        """The writes of each signal, by lower-case name, in the order of evaluation."""
        found: dict[str, list[Write]] = {}
        for number, (spot, by) in enumerate(self._sites()):
            if isinstance(by, Coil | AssignmentStatement | Block):
                for name in self._written(by):
                    found.setdefault(name, []).append(Write(number, spot, by))
        return found

    @cached_property
    def positions(self) -> dict[Spot, int]:
        """Where each element stands in the order of evaluation."""
        return {spot: n for n, (spot, by) in enumerate(self._sites()) if spot[1]}

    @cached_property
    def blocks(self) -> dict[str, tuple[Spot, Block]]:
        """Each block by its instance."""
        return {
            by.instance.lower(): (spot, by) for spot, by in self._sites() if isinstance(by, Block)
        }

    def _sites(self) -> Iterator[tuple[Spot, Element | Coil | AssignmentStatement]]:
        for number, rung in enumerate(self.program.rungs):
            for path, element in walk(rung.network):
                yield (number, path), element
            for output in rung.outputs:
                yield (number, ()), output

    def _written(self, by: Coil | AssignmentStatement | Block) -> list[str]:
        match by:
            case Coil(_, symbol):
                bit = bit_of(symbol)
                return [symbol.lower(), *([bit[0]] if bit else [])]
            case AssignmentStatement(target=target):
                bits = [name for name in self.history.values if name.startswith(f"{target}.%")]
                return [target.lower(), *bits]
            case Block(instance, _):
                pins = BLOCK_TYPES[self.variables[instance.lower()].type].outputs
                return [f"{instance}.{pin.name}".lower() for pin in pins]

    # -- values ---------------------------------------------------------------------------------

    def before(self, symbol: str, scan: int) -> int:
        """Return a signal's value at the beginning of a scan."""
        if scan == 0:
            return self.history.before[symbol]
        return int(self.history.values[symbol][scan - 1])

    def last_write(self, symbol: str, scan: int, position: int = END) -> Write | None:
        """Return the last write before ``position`` that decided the signal's value in a scan."""
        for write in reversed(self.writes.get(symbol, ())):
            if write.position < position and self.wrote(write, scan):
                return write
        return None

    def wrote(self, write: Write, scan: int) -> bool:
        """Return whether a place wrote in this scan: set, reset and assignment only under power."""
        if not self.history.supply[scan]:
            return False
        conditional = isinstance(write.by, AssignmentStatement) or (
            isinstance(write.by, Coil) and write.by.kind in (CoilKind.SET, CoilKind.RESET)
        )
        return not conditional or bool(self.history.power[write.spot][scan])

    def read(self, symbol: str, scan: int, position: int = END) -> int:
        """Return a signal's value as it is read at a position of a scan."""
        if symbol not in self.inputs and position < END:
            write = self.last_write(symbol, scan, position)
            if write is None:
                return self.before(symbol, scan)
            if isinstance(write.by, Coil):
                power = bool(self.history.power[write.spot][scan])
                return int(power is (write.by.kind in (CoilKind.COIL, CoilKind.SET)))
        return int(self.history.values[symbol][scan])

    def time(self, scan: int) -> str:
        """Return when a scan was, in words."""
        return seconds((self.history.first + scan) * self.history.period_ms)

    def always(self) -> str:
        """Return how long something has been so that has never changed."""
        return f"since before {self.time(0)}" if self.history.first else "since the start"

    # -- power ----------------------------------------------------------------------------------

    def power_into(self, spot: Spot) -> NDArray[np.bool_]:
        """Return whether power reached an element, in each scan."""
        rung, path = spot
        if path[-1] > 0:
            return self.history.power[rung, (*path[:-1], path[-1] - 1)]
        return self.history.supply if len(path) == 1 else self.power_into((rung, path[:-2]))

    def passes(self, rung: int, path: Path, item: Item, scan: int) -> bool | None:
        """Return whether an item lets power through, or would if some came.

        None if nobody can tell.
        """
        if isinstance(item, Parallel):
            found = [
                self._all_pass(rung, within(branch, (*path, j)), scan)
                for j, branch in enumerate(item.branches)
            ]
            return True if True in found else None if None in found else False
        if self.power_into((rung, path))[scan]:
            return bool(self.history.power[rung, path][scan])
        return self._would_pass((rung, path), item, scan)

    def _all_pass(self, rung: int, chain: Chain, scan: int) -> bool | None:
        found = [self.passes(rung, path, item, scan) for path, item in chain]
        return False if False in found else None if None in found else True

    def _would_pass(self, spot: Spot, element: Element, scan: int) -> bool | None:
        match element:
            case Contact(kind, symbol):
                position = self.positions[spot]
                now = bool(self.read(symbol.lower(), scan, position))
                if kind in (ContactKind.OPEN, ContactKind.CLOSED):
                    return now is (kind is ContactKind.OPEN)
                before = scan > 0 and bool(self.read(symbol.lower(), scan - 1, position))
                return now is not before and now is (kind is ContactKind.RISING)
            case Block():
                return bool(self.history.power[spot][scan])
            case Comparison():
                return None

    def _waits(self, rung: int, path: Path, item: Item, scan: int) -> bool:
        return isinstance(item, Block) and not self.power_into((rung, path))[scan]

    # -- what made the difference ---------------------------------------------------------------

    def deciding(
        self, rung: int, chain: Chain, scan: int, before: int | None = None
    ) -> list[tuple[Path, Element]]:
        """Return the elements that let a chain conduct, or kept it from it, in a scan.

        With ``before``, an earlier scan in which it was otherwise, only those that changed since.
        """
        conducts = self._all_pass(rung, chain, scan) is True
        candidates = [
            (path, item)
            for path, item in chain
            if conducts or self.passes(rung, path, item, scan) is False
        ]
        if before is not None:
            changed = [
                (path, item)
                for path, item in candidates
                if self.passes(rung, path, item, before) is (not conducts)
            ]
            candidates = changed or candidates
        if not conducts:
            # A block that no power reaches says nothing of its own.
            reached = [c for c in candidates if not self._waits(rung, *c, scan)]
            candidates = reached or candidates
        found: list[tuple[Path, Element]] = []
        for path, item in candidates:
            if not isinstance(item, Parallel):
                found.append((path, item))
                continue
            for j, branch in enumerate(item.branches):
                inner = within(branch, (*path, j))
                if conducts and self._all_pass(rung, inner, scan) is not True:
                    continue
                found += self.deciding(rung, inner, scan, before)
        return found


def within(series: Series, prefix: Path = ()) -> Chain:
    """Return the items of a series with their paths."""
    return [((*prefix, i), item) for i, item in enumerate(series.items)]


def leading_to(network: Series, path: Path) -> Chain:
    """Return the items that power passes on its way to an element, without other branches."""
    chain: Chain = []
    series, rest = network, path
    prefix: Path = ()
    while rest:
        chain += within(series, prefix)[: rest[0]]
        if len(rest) > 1:
            parallel = series.items[rest[0]]
            assert isinstance(parallel, Parallel), "a longer path leads into a branch"
            prefix = (*prefix, *rest[:2])
            series = parallel.branches[rest[1]]
        rest = rest[2:]
    return chain


def run_start(values: NDArray[np.generic], last: int) -> int:
    """Return the first scan of the stretch of equal values that reaches to ``last``."""
    different = np.flatnonzero(values[: last + 1] != values[last])
    return int(different[-1]) + 1 if different.size else 0
