"""The standard function blocks, one row each (IEC 61131-3, standard function blocks)."""

from dataclasses import dataclass
from enum import StrEnum

from server.ladder.elements.data_types import DataType
from server.ladder.elements.help import ON_AND_OFF, ElementHelp, pulses


class BlockFamily(StrEnum):
    """What blocks are alike in: how they are built, explained and mistaken for each other."""

    TIMER = "timer"
    COUNTER = "counter"
    EDGE_DETECTOR = "edge detector"
    BISTABLE = "bistable"


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
    an operand, the other outputs are read elsewhere as ``instance.NAME``. ``mistaken_for`` names
    the blocks that stand in its place by a likely mistake, with their inputs in the same order.
    """

    name: str
    family: BlockFamily
    power_in: str
    power_out: str
    inputs: tuple[Pin, ...]
    outputs: tuple[Pin, ...]
    meaning: str
    help: ElementHelp
    mistaken_for: tuple[str, ...] = ()


_PT = Pin("PT", "TIME", required=True)
_PV = Pin("PV", "INT", required=True)
_TIMER_OUT = (Pin("Q", "BOOL"), Pin("ET", "TIME"))
_COUNTER_OUT = (Pin("Q", "BOOL"), Pin("CV", "INT"))
_TIMER_LANES = (("IN", "start_pb"), ("Q", "delay.q"), ("ET", "delay.et"))

_ROWS = (
    BlockType(
        "TON",
        BlockFamily.TIMER,
        power_in="IN",
        power_out="Q",
        inputs=(_PT,),
        outputs=_TIMER_OUT,
        meaning="on-delay timer",
        mistaken_for=("TOF", "TP"),
        help=ElementHelp(
            "TON, on-delay timer",
            (
                "Q comes ON when IN has been ON for PT without a break, and goes OFF with IN.",
                "ET runs up to PT while IN is ON and is zero without it.",
            ),
            "lamp := start_pb AND delay(PT := T#1s);",
            _TIMER_LANES,
            ((300, ""), (600, "start_pb"), (300, ""), (1600, "start_pb"), (500, "")),
            "delay : TON;",
        ),
    ),
    BlockType(
        "TOF",
        BlockFamily.TIMER,
        power_in="IN",
        power_out="Q",
        inputs=(_PT,),
        outputs=_TIMER_OUT,
        meaning="off-delay timer",
        mistaken_for=("TON", "TP"),
        help=ElementHelp(
            "TOF, off-delay timer",
            (
                "Q comes ON with IN and goes OFF when IN has been OFF for PT without a break.",
                "ET runs up to PT while IN is OFF; the next IN sets it to zero.",
            ),
            "lamp := start_pb AND delay(PT := T#1s);",
            _TIMER_LANES,
            ((300, ""), (400, "start_pb"), (500, ""), (400, "start_pb"), (1700, "")),
            "delay : TOF;",
        ),
    ),
    BlockType(
        "TP",
        BlockFamily.TIMER,
        power_in="IN",
        power_out="Q",
        inputs=(_PT,),
        outputs=_TIMER_OUT,
        meaning="pulse timer",
        mistaken_for=("TON", "TOF"),
        help=ElementHelp(
            "TP, pulse timer",
            (
                "When IN comes ON, Q is ON for exactly PT, whatever IN does meanwhile.",
                "ET runs with the pulse and goes to zero when it is over and IN is OFF.",
            ),
            "lamp := start_pb AND delay(PT := T#1s);",
            _TIMER_LANES,
            ((300, ""), (300, "start_pb"), (1200, ""), (1500, "start_pb"), (500, "")),
            "delay : TP;",
        ),
    ),
    BlockType(
        "CTU",
        BlockFamily.COUNTER,
        power_in="CU",
        power_out="Q",
        inputs=(Pin("R", "BOOL"), _PV),
        outputs=_COUNTER_OUT,
        meaning="up-counter",
        help=ElementHelp(
            "CTU, up-counter",
            (
                "CV goes up by one each time CU comes ON; Q is ON while CV is at least PV.",
                "R sets CV to zero, and nothing is counted while R is ON.",
            ),
            "lamp := crate_eye AND count(R := reset_pb, PV := 3);",
            (("CU", "crate_eye"), ("R", "reset_pb"), ("CV", "count.cv"), ("Q", "count.q")),
            ((200, ""), *pulses("crate_eye", 4), (200, "reset_pb"), (150, ""), (200, "crate_eye")),
            "count : CTU;",
        ),
    ),
    BlockType(
        "CTD",
        BlockFamily.COUNTER,
        power_in="CD",
        power_out="Q",
        inputs=(Pin("LD", "BOOL"), _PV),
        outputs=_COUNTER_OUT,
        meaning="down-counter",
        help=ElementHelp(
            "CTD, down-counter",
            (
                "CV goes down by one each time CD comes ON; Q is ON while CV is zero or less.",
                "LD sets CV to PV, and nothing is counted while LD is ON.",
            ),
            "lamp := crate_eye AND count(LD := reset_pb, PV := 3);",
            (("CD", "crate_eye"), ("LD", "reset_pb"), ("CV", "count.cv"), ("Q", "count.q")),
            ((200, ""), (200, "reset_pb"), (150, ""), *pulses("crate_eye", 4), (200, "")),
            "count : CTD;",
        ),
    ),
    BlockType(
        "CTUD",
        BlockFamily.COUNTER,
        power_in="CU",
        power_out="QU",
        inputs=(Pin("CD", "BOOL"), Pin("R", "BOOL"), Pin("LD", "BOOL"), _PV),
        outputs=(Pin("QU", "BOOL"), Pin("QD", "BOOL"), Pin("CV", "INT")),
        meaning="up-down counter",
        help=ElementHelp(
            "CTUD, up-down counter",
            (
                "CU counts CV up, CD counts it down; QU is ON from PV on, QD from zero down.",
                "R sets CV to zero, LD sets it to PV; R goes before LD, both before counting.",
            ),
            "lamp := crate_eye AND count(CD := start_pb, R := reset_pb, PV := 2);",
            (
                ("CU", "crate_eye"),
                ("CD", "start_pb"),
                ("R", "reset_pb"),
                ("CV", "count.cv"),
                ("QU", "count.qu"),
                ("QD", "count.qd"),
            ),
            (
                (200, ""),
                *pulses("crate_eye", 3),
                *pulses("start_pb", 2),
                (150, "reset_pb"),
                (250, ""),
            ),
            "count : CTUD;",
        ),
    ),
    BlockType(
        "R_TRIG",
        BlockFamily.EDGE_DETECTOR,
        power_in="CLK",
        power_out="Q",
        inputs=(),
        outputs=(Pin("Q", "BOOL"),),
        meaning="rising edge detector",
        mistaken_for=("F_TRIG",),
        help=ElementHelp(
            "R_TRIG, rising edge detector",
            (
                "Q is ON for one scan, the one in which CLK has come ON.",
                "It looks at the power in front of it, a rising edge contact at one BOOL.",
            ),
            "lamp := start_pb AND edge();",
            (("CLK", "start_pb"), ("Q", "edge.q")),
            ON_AND_OFF,
            "edge : R_TRIG;",
        ),
    ),
    BlockType(
        "F_TRIG",
        BlockFamily.EDGE_DETECTOR,
        power_in="CLK",
        power_out="Q",
        inputs=(),
        outputs=(Pin("Q", "BOOL"),),
        meaning="falling edge detector",
        mistaken_for=("R_TRIG",),
        help=ElementHelp(
            "F_TRIG, falling edge detector",
            (
                "Q is ON for one scan, the one in which CLK has gone OFF.",
                "After a cold start with CLK OFF it gives one pulse, as the standard's rule has "
                "it.",
            ),
            "lamp := start_pb AND edge();",
            (("CLK", "start_pb"), ("Q", "edge.q")),
            ON_AND_OFF,
            "edge : F_TRIG;",
        ),
    ),
    BlockType(
        "SR",
        BlockFamily.BISTABLE,
        power_in="S1",
        power_out="Q1",
        inputs=(Pin("R", "BOOL", required=True),),
        outputs=(Pin("Q1", "BOOL"),),
        meaning="bistable, set dominant",
        mistaken_for=("RS",),
        help=ElementHelp(
            "SR, bistable, set dominant",
            (
                "S1 turns Q1 ON, R turns it OFF; it keeps its state without either.",
                "While both are ON, S1 wins.",
            ),
            "lamp := start_pb AND latch(R := reset_pb);",
            (("S1", "start_pb"), ("R", "reset_pb"), ("Q1", "latch.q1")),
            (
                (300, ""),
                (300, "start_pb"),
                (400, ""),
                (300, "reset_pb"),
                (400, ""),
                (400, "start_pb reset_pb"),
                (400, "reset_pb"),
            ),
            "latch : SR;",
        ),
    ),
    BlockType(
        "RS",
        BlockFamily.BISTABLE,
        power_in="S",
        power_out="Q1",
        inputs=(Pin("R1", "BOOL", required=True),),
        outputs=(Pin("Q1", "BOOL"),),
        meaning="bistable, reset dominant",
        mistaken_for=("SR",),
        help=ElementHelp(
            "RS, bistable, reset dominant",
            (
                "S turns Q1 ON, R1 turns it OFF; it keeps its state without either.",
                "While both are ON, R1 wins.",
            ),
            "lamp := start_pb AND latch(R1 := reset_pb);",
            (("S", "start_pb"), ("R1", "reset_pb"), ("Q1", "latch.q1")),
            (
                (300, ""),
                (300, "start_pb"),
                (400, ""),
                (300, "reset_pb"),
                (400, ""),
                (400, "start_pb reset_pb"),
                (400, "start_pb"),
            ),
            "latch : RS;",
        ),
    ),
)

BLOCK_TYPES: dict[str, BlockType] = {block.name: block for block in _ROWS}
"""The function blocks by type name."""


def family_of(type_name: str) -> BlockFamily | None:
    """Return the family of a variable's type; None for data types and what is not known."""
    block = BLOCK_TYPES.get(type_name)
    return None if block is None else block.family


assert all(
    [pin.type for pin in block.inputs] == [pin.type for pin in BLOCK_TYPES[other].inputs]
    for block in _ROWS
    for other in block.mistaken_for
), "a block is mistaken for one with inputs of the same types"
