"""The part of a machine that some planes depend on, directly or in any later scan.

An instruction is kept when it writes a plane that is needed; what it reads is then needed too.
The order of instructions is not looked at, so the slice is sound: it may keep too much.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import chain

import numpy as np

from server.scan.assembler import CodeRange, Machine
from server.scan.instructions import WIDTH, Op

_OPS = {int(op): op for op in Op}


@dataclass(frozen=True, slots=True)
class Effect:
    """Planes that an instruction reads and writes; what it writes in part it also reads."""

    reads: frozenset[int]
    writes: frozenset[int]


def instructions(machine: Machine, name: str) -> list[tuple[Op, tuple[int, ...]]]:
    """Return the rows of a section, each with its operands."""
    section = machine.sections[name]
    rows = machine.code[section.first : section.last].tolist()
    return [(_OPS[row[0]], tuple(row[1:])) for row in rows]


# The requirements of an exercise are sliced out of much the same instructions.
@lru_cache(maxsize=1 << 14)
def effect(op: Op, operands: tuple[int, ...]) -> Effect:
    """Return what one instruction, other than SAVE and RESTORE, reads and writes."""
    if op in (Op.SAVE, Op.RESTORE):
        raise ValueError(f"{op.name} works on a table; its rows are looked at one by one.")
    reads: set[int] = set()
    writes: set[int] = set()
    for position, operand in enumerate(op.operands):
        count = operands[position + 1] if operand.planes is None else operand.planes
        planes = range(operands[position], operands[position] + count)
        if operand.reads:
            reads.update(planes)
        if operand.writes:
            writes.update(planes)
    return Effect(frozenset(reads), frozenset(writes))


class Slicer:
    """Cuts slices out of one machine: its instructions are looked at once for all of them."""

    def __init__(self, machine: Machine, sections: tuple[str, ...]) -> None:
        self._machine = machine
        self._rows = {name: instructions(machine, name) for name in sections}
        self._writers: dict[int, list[Effect]] = {}
        for found in self._effects():
            for plane in found.writes:
                self._writers.setdefault(plane, []).append(found)

    def sliced(self, needed: set[int]) -> Machine:
        """Return the machine with only the instructions, state and choices that ``needed`` needs.

        The sections are kept, shortened; the physics is left out.
        """
        machine, needed = self._machine, self._closure(needed)
        code: list[tuple[int, ...]] = []
        table: list[tuple[int, int]] = []
        bounds: dict[str, CodeRange] = {}
        for name, rows in self._rows.items():
            first = len(code)
            for op, operands in rows:
                if op in (Op.SAVE, Op.RESTORE):
                    pairs = machine.table[operands[1] : operands[2]].tolist()
                    kept = [(plane, copy) for plane, copy in pairs if plane in needed]
                    code.append((op, operands[0], len(table), len(table) + len(kept)))
                    table += kept
                elif not effect(op, operands).writes.isdisjoint(needed):
                    code.append((op, *operands))
            bounds[name] = CodeRange(first, len(code))
        padded = [row + (0,) * (WIDTH - len(row)) for row in code]
        return replace(
            machine,
            code=np.array(padded, np.uint32).reshape(-1, WIDTH),
            table=np.array(table, np.int32).reshape(-1, 2),
            sections=bounds,
            state=tuple(p for p in machine.state if p in needed),
            choices=tuple(p for p in machine.choices if p in needed),
        )

    def _effects(self) -> Iterator[Effect]:
        for op, operands in chain.from_iterable(self._rows.values()):
            if op not in (Op.SAVE, Op.RESTORE):
                yield effect(op, operands)
                continue
            for plane, copy in self._machine.table[operands[1] : operands[2]].tolist():
                kept = {copy} if copy >= 0 else set()
                if op is Op.SAVE:
                    yield Effect(frozenset({plane}), frozenset(kept))
                else:
                    yield Effect(frozenset({plane, operands[0]} | kept), frozenset({plane}))

    def _closure(self, needed: set[int]) -> set[int]:
        """Everything that the needed planes depend on."""
        found, todo = set(needed), list(needed)
        while todo:
            for each in self._writers.get(todo.pop(), ()):
                fresh = (each.reads | each.writes) - found
                found |= fresh
                todo += fresh
        return found
