"""The names of one program by what they stand for: which may be taken for which other."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from server.ladder.elements import BLOCK_TYPES
from server.ladder.names import bit_of
from server.ladder.points import direction_of
from server.ladder.program import Program, Variable
from server.ladder.references import occurrences

Kind = tuple[str, str]
"""Data type, and input, output, internal, block output or bit of a WORD."""


@dataclass(frozen=True)
class Scope:
    """The declarations of one program."""

    program: Program

    @cached_property
    def variables(self) -> dict[str, Variable]:
        """Declarations by symbol."""
        return {variable.symbol: variable for variable in self.program.variables}

    @cached_property
    def kinds(self) -> dict[str, Kind]:
        """What each variable and each block output is, in order of declaration."""
        return dict(self._kinds())

    @cached_property
    def unused_symbol(self) -> str:
        """A symbol for a further internal bit."""
        names = ("never", *(f"never_{n}" for n in range(1, len(self.variables) + 1)))
        return next(name for name in names if name not in self.variables)

    def others(self, name: str) -> Iterator[str]:
        """Return every other name of the same kind: another input for an input, and so on."""
        kind = self.kinds.get(name)
        return (other for other, known in self.kinds.items() if known == kind and other != name)

    def is_bit(self, name: str) -> bool:
        """Return whether a variable or a block output is a BOOL."""
        return self.kinds[name][0] == "BOOL"

    def type_of(self, instance: str) -> str:
        """Return the block type of an instance."""
        return self.variables[instance].type

    def _kinds(self) -> Iterator[tuple[str, Kind]]:
        for variable in self.program.variables:
            block = BLOCK_TYPES.get(variable.type)
            if block is None:
                yield variable.symbol, (variable.type, direction_of(variable.address))
                continue
            for pin in block.outputs:
                yield f"{variable.symbol}.{pin.name}", (pin.type, "block output")
        named = dict.fromkeys(found.name for found in occurrences(self.program))
        yield from ((name, ("BOOL", "bit of a WORD")) for name in named if bit_of(name))
