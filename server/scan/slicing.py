"""The part of a machine that some planes depend on, directly or in any later scan.

An instruction is kept when it writes a plane that is needed; what it reads is then needed too.
The order of instructions is not looked at, so the slice is sound: it may keep too much.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from server.scan.assembler import Machine, Section
from server.scan.instructions import INT_PLANES, WIDTH, Op

_PLAIN = {Op.COPY: 1, Op.NOT: 1, Op.AND: 2, Op.OR: 2, Op.ANDN: 2, Op.XOR: 2, Op.MUX: 3,
          Op.SERIES: 7}  # fmt: skip
"""Opcodes that write operand 0 from so many operands after it."""


@dataclass(frozen=True, slots=True)
class Effect:
    """Planes that an instruction reads and writes; what it writes in part it also reads."""

    reads: frozenset[int]
    writes: frozenset[int]


def instructions(machine: Machine, name: str) -> list[tuple[Op, tuple[int, ...]]]:
    """The rows of a section, each with its operands."""
    section = machine.sections[name]
    rows = machine.code[section.first : section.last].tolist()
    return [(Op(row[0]), tuple(row[1:])) for row in rows]


# The requirements of an exercise are sliced out of much the same instructions.
@lru_cache(maxsize=1 << 14)
def effect(op: Op, operands: tuple[int, ...]) -> Effect:
    """What one instruction, other than SAVE and RESTORE, reads and writes."""

    def planes(base: int, count: int = INT_PLANES) -> set[int]:
        return set(range(base, base + count))

    o = operands
    if op in _PLAIN:
        reads, writes = set(o[1 : 1 + _PLAIN[op]]), {o[0]}
    elif op in (Op.SET, Op.RESET):
        reads, writes = {o[0], o[1]}, {o[0]}
    elif op in (Op.RISE, Op.FALL):
        reads, writes = {o[1], o[2]}, {o[0], o[2]}
    elif op in (Op.TON, Op.TOF, Op.TP):
        writes = {o[0], o[2]} | planes(o[3], o[4])
        reads = writes | {o[1]}
    elif op is Op.COUNT:
        writes = planes(o[0])
        reads = writes | set(o[1:5])
    elif op is Op.UGE:
        reads, writes = planes(o[1], o[2]), {o[0]}
    elif op in (Op.LT, Op.EQ):
        reads, writes = planes(o[1]) | planes(o[2]), {o[0]}
    elif op is Op.MOVE:
        writes = planes(o[0])
        reads = writes | planes(o[1]) | {o[2]}
    elif op in (Op.ADD, Op.SUB, Op.MUL, Op.DIV):
        writes = planes(o[0]) | {o[4]}
        reads = writes | planes(o[1]) | planes(o[2]) | {o[3]}
    else:
        raise ValueError(f"{op.name} works on a table; its rows are looked at one by one.")
    return Effect(frozenset(reads), frozenset(writes))


def slice_machine(machine: Machine, sections: tuple[str, ...], needed: set[int]) -> Machine:
    """The machine with only the instructions, state and choices that ``needed`` depends on.

    The named sections are kept, shortened; the physics is left out.
    """
    rows = {name: instructions(machine, name) for name in sections}
    needed = _closure(machine, [row for name in sections for row in rows[name]], set(needed))
    code: list[tuple[int, ...]] = []
    table: list[tuple[int, int]] = []
    bounds: dict[str, Section] = {}
    for name in sections:
        first = len(code)
        for op, operands in rows[name]:
            if op in (Op.SAVE, Op.RESTORE):
                pairs = machine.table[operands[1] : operands[2]].tolist()
                kept = [(plane, copy) for plane, copy in pairs if plane in needed]
                code.append((op, operands[0], len(table), len(table) + len(kept)))
                table += kept
            elif not effect(op, operands).writes.isdisjoint(needed):
                code.append((op, *operands))
        bounds[name] = Section(first, len(code))
    padded = [row + (0,) * (WIDTH - len(row)) for row in code]
    return replace(
        machine,
        code=np.array(padded, np.uint32).reshape(-1, WIDTH),
        table=np.array(table, np.int32).reshape(-1, 2),
        sections=bounds,
        state=tuple(p for p in machine.state if p in needed),
        choices=tuple(p for p in machine.choices if p in needed),
    )


def _closure(
    machine: Machine, rows: list[tuple[Op, tuple[int, ...]]], needed: set[int]
) -> set[int]:
    """Everything that the needed planes depend on."""
    effects: list[Effect] = []
    for op, operands in rows:
        if op in (Op.SAVE, Op.RESTORE):
            for plane, copy in machine.table[operands[1] : operands[2]].tolist():
                kept = {copy} if copy >= 0 else set()
                if op is Op.SAVE:
                    effects.append(Effect(frozenset({plane}), frozenset(kept)))
                else:
                    reads = frozenset({plane, operands[0]} | kept)
                    effects.append(Effect(reads, frozenset({plane})))
        else:
            effects.append(effect(op, operands))
    writers: dict[int, list[Effect]] = {}
    for e in effects:
        for plane in e.writes:
            writers.setdefault(plane, []).append(e)
    todo = list(needed)
    while todo:
        for e in writers.get(todo.pop(), ()):
            fresh = (e.reads | e.writes) - needed
            needed |= fresh
            todo += fresh
    return needed
