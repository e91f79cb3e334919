"""A point: one row of an exercise's table of inputs and outputs. Programs bind to it by address."""

from dataclasses import dataclass
from enum import StrEnum

from server.ladder.elements import ContactKind, DataType
from server.ladder.names import ADDRESS


class Direction(StrEnum):
    """Which way a signal goes, as the program sees it."""

    INPUT = "input"
    OUTPUT = "output"
    INTERNAL = "internal"


_DIRECTIONS = {"I": Direction.INPUT, "Q": Direction.OUTPUT, "M": Direction.INTERNAL}


@dataclass(frozen=True, slots=True)
class PointDeclaration:
    """One row of the table; the symbol is the exercise's suggestion, the student's may differ.

    ``wiring`` is how a device's contact is wired (normally open or closed), None where that means
    nothing. ``resting`` is the signal while nobody and nothing actuates the device: 0 or 1 for a
    BOOL, a number for an INT, None where it depends on the plant. ``description`` says what the
    device is (push-button, level switch, contactor).
    """

    symbol: str
    address: str
    device: str
    label: str
    wiring: ContactKind | None = None
    resting: int | None = None
    description: str = ""

    @property
    def direction(self) -> Direction:
        """Input, output or internal: the first letter of the address."""
        return direction_of(self.address)

    @property
    def type(self) -> DataType:
        """BOOL for a bit, INT for a word."""
        return "INT" if self.address[2:3] == "W" else "BOOL"


def direction_of(address: str | None) -> Direction:
    """Return the direction of a variable with this direct address; without one it is internal."""
    parts = ADDRESS.fullmatch(address or "")
    return Direction.INTERNAL if parts is None else _DIRECTIONS[parts[1]]
