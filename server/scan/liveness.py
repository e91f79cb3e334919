"""State that matters: the state planes that a scan reads before it writes them anew.

A plane that every scan writes first tells nothing about the scans before, so a search need not
tell states apart by it.
"""

from dataclasses import replace

from server.scan.assembler import Machine
from server.scan.instructions import TRUE, Op
from server.scan.slicing import effect, instructions


def only_carried(machine: Machine, sections: tuple[str, ...], kept: set[int]) -> Machine:
    """Return the machine with its state cut down to what one pass over ``sections`` reads first.

    ``kept`` planes stay part of the state whether they are read or not.
    """
    read: set[int] = set()
    written: set[int] = set()
    for name in sections:
        for op, operands in instructions(machine, name):
            if op in (Op.SAVE, Op.RESTORE):
                if operands[0] != TRUE:
                    table = machine.table[operands[1] : operands[2]]
                    read |= {operands[0], *(int(plane) for plane, _ in table)} - written
                continue
            found = effect(op, operands)
            read |= found.reads - written
            written |= found.writes
    return replace(machine, state=tuple(p for p in machine.state if p in read or p in kept))
