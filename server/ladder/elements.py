"""The one table of rung elements: names, operands and types of IEC 61131-3's ladder elements.

Everything that lists elements (text form, drawing, validation, compiler, editor) reads it here.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, TypeAlias

DataType: TypeAlias = Literal["BOOL", "INT", "TIME"]

DATA_TYPES: tuple[DataType, ...] = ("BOOL", "INT", "TIME")

INT_MIN, INT_MAX = -32768, 32767
"""Range of INT (IEC 61131-3, elementary data types; from memory)."""

TIME_MAX_MS = 24 * 3600 * 1000
"""Longest duration a program may name: one day."""


class ContactKind(StrEnum):
    """What makes a contact conduct."""

    OPEN = "normally open"
    CLOSED = "normally closed"
    RISING = "rising edge"
    FALLING = "falling edge"


class CoilKind(StrEnum):
    """What a coil does with the power that reaches it."""

    COIL = "coil"
    NEGATED = "negated coil"
    SET = "set coil"
    RESET = "reset coil"


class Relation(StrEnum):
    """Comparison of two numbers or two durations."""

    EQ = "="
    NE = "<>"
    LT = "<"
    LE = "<="
    GT = ">"
    GE = ">="


class Operator(StrEnum):
    """Arithmetic on two numbers."""

    ADD = "+"
    SUB = "-"
    MUL = "*"
    DIV = "/"


@dataclass(frozen=True, slots=True)
class Pin:
    """One input or output of a function block."""

    name: str
    type: DataType
    required: bool = False


@dataclass(frozen=True, slots=True)
class BlockType:
    """A standard function block as an in-line element of a rung.

    Power from the left enters at ``power_in`` and leaves at ``power_out``; the other inputs take
    an operand, the other outputs are read elsewhere as ``instance.NAME``.
    """

    name: str
    power_in: str
    power_out: str
    inputs: tuple[Pin, ...]
    outputs: tuple[Pin, ...]
    meaning: str


_PT = Pin("PT", "TIME", required=True)
_PV = Pin("PV", "INT", required=True)
_TIMER_OUT = (Pin("Q", "BOOL"), Pin("ET", "TIME"))
_COUNTER_OUT = (Pin("Q", "BOOL"), Pin("CV", "INT"))

BLOCK_TYPES: dict[str, BlockType] = {
    b.name: b
    for b in (
        BlockType("TON", "IN", "Q", (_PT,), _TIMER_OUT, "on-delay timer"),
        BlockType("TOF", "IN", "Q", (_PT,), _TIMER_OUT, "off-delay timer"),
        BlockType("TP", "IN", "Q", (_PT,), _TIMER_OUT, "pulse timer"),
        BlockType("CTU", "CU", "Q", (Pin("R", "BOOL"), _PV), _COUNTER_OUT, "up-counter"),
        BlockType("CTD", "CD", "Q", (Pin("LD", "BOOL"), _PV), _COUNTER_OUT, "down-counter"),
        BlockType(
            "CTUD",
            "CU",
            "QU",
            (Pin("CD", "BOOL"), Pin("R", "BOOL"), Pin("LD", "BOOL"), _PV),
            (Pin("QU", "BOOL"), Pin("QD", "BOOL"), Pin("CV", "INT")),
            "up-down counter",
        ),
        BlockType("R_TRIG", "CLK", "Q", (), (Pin("Q", "BOOL"),), "rising edge detector"),
        BlockType("F_TRIG", "CLK", "Q", (), (Pin("Q", "BOOL"),), "falling edge detector"),
        BlockType(
            "SR",
            "S1",
            "Q1",
            (Pin("R", "BOOL", required=True),),
            (Pin("Q1", "BOOL"),),
            "bistable, set dominant",
        ),
        BlockType(
            "RS",
            "S",
            "Q1",
            (Pin("R1", "BOOL", required=True),),
            (Pin("Q1", "BOOL"),),
            "bistable, reset dominant",
        ),
    )
}
"""The function blocks of design part 4, by type name (IEC 61131-3, standard function blocks)."""
