"""What another network in a rung would have changed in a recorded run, without running it again.

Signals are taken as they were recorded: this tells whether an edit can have any effect at all, and
in which scans it would have had one by itself, not what would have followed from it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.ladder.elements import BLOCK_TYPES, ContactKind
from server.ladder.program import (
    Block,
    Comparison,
    Contact,
    Duration,
    Element,
    Name,
    Number,
    Operand,
    Parallel,
    Program,
    Series,
    walk,
)
from server.ladder.references import Usage, occurrences
from server.marking.causes.history import History
from server.marking.faults.variants import Variant

Scans = NDArray[np.bool_]
"""Something that is or is not so in each scan: bool[scans]."""


class Effects:
    """What edits of one program would have changed in one recorded run."""

    def __init__(self, program: Program, history: History) -> None:
        self._program = program
        self._history = history
        self._unknown = np.ones(history.scans, np.bool_)
        self._as_it_was: dict[int, _Network] = {}

    def of(self, edit: Variant) -> Scans:
        """Return bool[scans]: where an edit changes what conducts; all TRUE if that is unknown."""
        program, rung, changed = self._program, edit.place.rung, edit.program
        if rung is None or len(changed.rungs) != len(program.rungs):
            return self._unknown
        others = (n for n in range(len(program.rungs)) if n != rung)
        if (
            changed.rungs[rung].outputs != program.rungs[rung].outputs
            or any(changed.rungs[n] != program.rungs[n] for n in others)
            or not set(program.variables) <= set(changed.variables)
        ):
            return self._unknown
        if rung not in self._as_it_was:
            later = _written_later(program, rung)
            self._as_it_was[rung] = _Network(program, self._history, rung, later)
        then = self._as_it_was[rung]
        if set(_blocks(changed, rung)) != set(_blocks(program, rung)):
            return self._unknown
        # With the same outputs and blocks, everything is written where it was.
        now = _Network(changed, self._history, rung, then.written_later)
        differs: Scans = then.result != now.result
        for block, power in then.blocks.items():
            differs |= power != now.blocks[block]
        return differs


def _blocks(program: Program, rung: int) -> Iterator[Block]:
    return (e for _, e in walk(program.rungs[rung].network) if isinstance(e, Block))


def _written_later(program: Program, rung: int) -> set[str]:
    """Return the symbols of which a rung reads what the scan before has left."""
    first: dict[str, int] = {}
    for each in occurrences(program):
        if each.role is not Usage.READ and each.place.rung is not None:
            # A block stands in its rung before what reads it there, an output behind.
            behind = each.role is Usage.WRITE
            first.setdefault(each.symbol, each.place.rung + behind)
    return {symbol for symbol, number in first.items() if number > rung}


@dataclass(frozen=True)
class _Network:
    """A rung of a program over a recorded run; ``blocks`` has the power into each block."""

    program: Program
    history: History
    rung: int
    written_later: set[str]
    blocks: dict[Block, Scans] = field(default_factory=dict)

    @cached_property
    def result(self) -> Scans:
        """Where the network conducts; ``blocks`` is filled by then."""
        return self.power(self.program.rungs[self.rung].network)

    def power(self, series: Series, into: Scans | None = None) -> Scans:
        """Return where a series lets the power out that comes ``into`` it."""
        power = self.history.supply if into is None else into
        for item in series.items:
            if isinstance(item, Parallel):
                branches = [self.power(branch, power) for branch in item.branches]
                power = np.logical_or.reduce(branches)
            else:
                if isinstance(item, Block):
                    self.blocks[item] = power
                power = power & self._passes(item)
        return power

    def _passes(self, element: Element) -> Scans:
        match element:
            case Contact(kind, symbol):
                on = self._values(symbol) > 0
                before = np.concatenate([[False], on[:-1]])
                if kind.is_edge:
                    return on & ~before if kind is ContactKind.RISING else before & ~on
                return on if kind is ContactKind.OPEN else ~on
            case Comparison(left, relation, right):
                less, equal, greater = relation.row.holds
                one, other = self._operand(left), self._operand(right)
                holds: Scans = np.where(one < other, less, np.where(one > other, greater, equal))
                return holds
            case Block(instance, _):
                [block] = [v.type for v in self.program.variables if v.symbol == instance]
                return self._values(f"{instance}.{BLOCK_TYPES[block].power_out}".lower()) > 0

    def _operand(self, operand: Operand) -> NDArray[np.int32]:
        match operand:
            case Name(symbol):
                return self._values(symbol)
            case Number(value) | Duration(value):
                return np.full(self.history.scans, value, np.int32)

    def _values(self, symbol: str) -> NDArray[np.int32]:
        recorded = self.history.values.get(symbol.lower())
        if recorded is not None:
            if symbol.partition(".")[0] not in self.written_later:
                return recorded
            first = self.history.before[symbol.lower()]
            return np.concatenate([[first], recorded[:-1]]).astype(np.int32)
        constant = next((v.initial for v in self.program.variables if v.symbol == symbol), None)
        return np.full(self.history.scans, constant or 0, np.int32)
