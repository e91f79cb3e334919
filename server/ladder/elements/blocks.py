"""The standard function blocks, one row each (IEC 61131-3, standard function blocks)."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from server.ladder.elements.help import ON_AND_OFF, ElementHelp, pulses
from server.ladder.elements.pins import Pin


class BlockFamily(StrEnum):
    """What blocks are alike in: how they are built, explained and mistaken for each other."""

    TIMER = "timer"
    COUNTER = "counter"
    EDGE_DETECTOR = "edge detector"
    BISTABLE = "bistable"


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


_PV = Pin("PV", "INT", required=True)
_TIMERS = ("TON", "TOF", "TP")

Steps: TypeAlias = tuple[tuple[int, str], ...]


def _timer(name: str, kind: str, lines: tuple[str, str], steps: Steps) -> BlockType:
    return BlockType(
        name,
        BlockFamily.TIMER,
        power_in="IN",
        power_out="Q",
        inputs=(Pin("PT", "TIME", required=True),),
        outputs=(Pin("Q", "BOOL"), Pin("ET", "TIME")),
        meaning=f"{kind} timer",
        mistaken_for=tuple(other for other in _TIMERS if other != name),
        help=ElementHelp(
            f"{name}, {kind} timer",
            lines,
            "lamp := start_pb AND delay(PT := T#1s);",
            (("IN", "start_pb"), ("Q", "delay.q"), ("ET", "delay.et")),
            steps,
            f"delay : {name};",
        ),
    )


def _counter(
    name: str, meaning: str, pins: tuple[str, str], lines: tuple[str, str], steps: Steps
) -> BlockType:
    """Return a counter that counts at its first pin and is reset or loaded at its second."""
    counts, sets = pins
    return BlockType(
        name,
        BlockFamily.COUNTER,
        power_in=counts,
        power_out="Q",
        inputs=(Pin(sets, "BOOL"), _PV),
        outputs=(Pin("Q", "BOOL"), Pin("CV", "INT")),
        meaning=meaning,
        help=ElementHelp(
            f"{name}, {meaning}",
            lines,
            f"lamp := crate_eye AND count({sets} := reset_pb, PV := 3);",
            ((counts, "crate_eye"), (sets, "reset_pb"), ("CV", "count.cv"), ("Q", "count.q")),
            steps,
            f"count : {name};",
        ),
    )


def _edge_detector(name: str, other: str, kind: str, lines: tuple[str, str]) -> BlockType:
    return BlockType(
        name,
        BlockFamily.EDGE_DETECTOR,
        power_in="CLK",
        power_out="Q",
        inputs=(),
        outputs=(Pin("Q", "BOOL"),),
        meaning=f"{kind} edge detector",
        mistaken_for=(other,),
        help=ElementHelp(
            f"{name}, {kind} edge detector",
            lines,
            "lamp := start_pb AND edge();",
            (("CLK", "start_pb"), ("Q", "edge.q")),
            ON_AND_OFF,
            f"edge : {name};",
        ),
    )


def _bistable(name: str, other: str, pins: tuple[str, str], wins: str, last: str) -> BlockType:
    """Return a bistable with a pin that sets and one that resets; ``last`` is on at the end."""
    sets, resets = pins
    dominant = "set" if wins == sets else "reset"
    return BlockType(
        name,
        BlockFamily.BISTABLE,
        power_in=sets,
        power_out="Q1",
        inputs=(Pin(resets, "BOOL", required=True),),
        outputs=(Pin("Q1", "BOOL"),),
        meaning=f"bistable, {dominant} dominant",
        mistaken_for=(other,),
        help=ElementHelp(
            f"{name}, bistable, {dominant} dominant",
            (
                f"{sets} turns Q1 ON, {resets} turns it OFF; it keeps its state without either.",
                f"While both are ON, {wins} wins.",
            ),
            f"lamp := start_pb AND latch({resets} := reset_pb);",
            ((sets, "start_pb"), (resets, "reset_pb"), ("Q1", "latch.q1")),
            (
                (300, ""),
                (300, "start_pb"),
                (400, ""),
                (300, "reset_pb"),
                (400, ""),
                (400, "start_pb reset_pb"),
                (400, last),
            ),
            f"latch : {name};",
        ),
    )


_ROWS = (
    _timer(
        "TON",
        "on-delay",
        (
            "Q comes ON when IN has been ON for PT without a break, and goes OFF with IN.",
            "ET runs up to PT while IN is ON and is zero without it.",
        ),
        ((300, ""), (600, "start_pb"), (300, ""), (1600, "start_pb"), (500, "")),
    ),
    _timer(
        "TOF",
        "off-delay",
        (
            "Q comes ON with IN and goes OFF when IN has been OFF for PT without a break.",
            "ET runs up to PT while IN is OFF; the next IN sets it to zero.",
        ),
        ((300, ""), (400, "start_pb"), (500, ""), (400, "start_pb"), (1700, "")),
    ),
    _timer(
        "TP",
        "pulse",
        (
            "When IN comes ON, Q is ON for exactly PT, whatever IN does meanwhile.",
            "ET runs with the pulse and goes to zero when it is over and IN is OFF.",
        ),
        ((300, ""), (300, "start_pb"), (1200, ""), (1500, "start_pb"), (500, "")),
    ),
    _counter(
        "CTU",
        "up-counter",
        ("CU", "R"),
        (
            "CV goes up by one each time CU comes ON; Q is ON while CV is at least PV.",
            "R sets CV to zero, and nothing is counted while R is ON.",
        ),
        ((200, ""), *pulses("crate_eye", 4), (200, "reset_pb"), (150, ""), (200, "crate_eye")),
    ),
    _counter(
        "CTD",
        "down-counter",
        ("CD", "LD"),
        (
            "CV goes down by one each time CD comes ON; Q is ON while CV is zero or less.",
            "LD sets CV to PV, and nothing is counted while LD is ON.",
        ),
        ((200, ""), (200, "reset_pb"), (150, ""), *pulses("crate_eye", 4), (200, "")),
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
    _edge_detector(
        "R_TRIG",
        "F_TRIG",
        "rising",
        (
            "Q is ON for one scan, the one in which CLK has come ON.",
            "It looks at the power in front of it, a rising edge contact at one BOOL.",
        ),
    ),
    _edge_detector(
        "F_TRIG",
        "R_TRIG",
        "falling",
        (
            "Q is ON for one scan, the one in which CLK has gone OFF.",
            "After a cold start with CLK OFF it gives one pulse, as the standard's rule has it.",
        ),
    ),
    _bistable("SR", "RS", ("S1", "R"), wins="S1", last="reset_pb"),
    _bistable("RS", "SR", ("S", "R1"), wins="R1", last="start_pb"),
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
