"""An environment that may do anything: every input of a program is free in every scan."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from server.ladder.edges import comparison_edges
from server.ladder.elements import INT_MAX, INT_MIN
from server.ladder.program import Program
from server.scan.assembler import Assembler, Bit, Signal, Word
from server.scan.instructions import FALSE, INT_PLANES, TRUE


@dataclass(frozen=True, slots=True)
class FreeInputs:
    """Signals of the input points by address, and how to read a search's choices back.

    ``values`` has for each address the choice planes that select its value, lowest bit first, and
    the values that they select.
    """

    signals: dict[str, Signal]
    values: dict[str, tuple[tuple[int, ...], Sequence[int]]]

    def chosen(self, on: Collection[int]) -> dict[str, int]:
        """Return the value of each input in a scan in which the choice planes ``on`` are TRUE."""
        found: dict[str, int] = {}
        for address, (selecting, values) in self.values.items():
            index = sum(1 << i for i, plane in enumerate(selecting) if plane in on)
            found[address] = values[min(index, len(values) - 1)]
        return found


def free_inputs(asm: Assembler, programs: Sequence[Program]) -> FreeInputs:
    """Choices for every input that one of the programs declares.

    A number that is only compared with literals needs but one value from each stretch between
    them; any other number has all of INT.
    """
    signals: dict[str, Signal] = {}
    values: dict[str, tuple[tuple[int, ...], Sequence[int]]] = {}
    for address, kind in _addresses(programs).items():
        if kind == "BOOL":
            possible: Sequence[int] = (0, 1)
        else:
            possible = _stretches(programs, address) or range(INT_MIN, INT_MAX + 1)
        selecting = tuple(asm.choice() for _ in range((len(possible) - 1).bit_length()))
        bit = kind == "BOOL"
        signals[address] = Bit(selecting[0]) if bit else _number(asm, selecting, possible)
        values[address] = selecting, possible
    return FreeInputs(signals, values)


def _addresses(programs: Sequence[Program]) -> Mapping[str, str]:
    return {
        v.address: v.type
        for program in programs
        for v in program.variables
        if v.address is not None and v.address.startswith("%I")
    }


def _number(asm: Assembler, selecting: Sequence[int], values: Sequence[int]) -> Word:
    base = asm.temporary()
    for _ in range(INT_PLANES - 1):
        asm.temporary()
    if len(selecting) == INT_PLANES:
        # All of INT: the choices are the number's own bits, counted from the lowest number.
        for i, plane in enumerate(selecting):
            asm.copy_to(base + i, asm.not_(plane) if i == INT_PLANES - 1 else plane)
        return Word(base)

    def plane_of(bit: int, first: int, level: int) -> int:
        if level < 0:
            return TRUE if (values[min(first, len(values) - 1)] >> bit) & 1 else FALSE
        low = plane_of(bit, first, level - 1)
        high = plane_of(bit, first + (1 << level), level - 1)
        return low if low == high else asm.mux(selecting[level], high, low)

    for bit in range(INT_PLANES):
        asm.copy_to(base + bit, plane_of(bit, 0, len(selecting) - 1))
    return Word(base)


def _stretches(programs: Sequence[Program], address: str) -> list[int] | None:
    """Return one value from each stretch that the programs tell apart, or None for any number."""
    edges: set[int] = set()
    for program in programs:
        for variable in program.variables:
            if variable.address == address:
                of_program = comparison_edges(program, variable.symbol)
                if of_program is None:
                    return None
                edges |= of_program
    values = {value for edge in edges for value in (edge - 1, edge)}
    return sorted({v for v in values if INT_MIN <= v <= INT_MAX} or {0})
