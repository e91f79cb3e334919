"""Each rung element in two lines, with a small program and a course of events that show it.

The behaviour is IEC 61131-3's (contacts and coils of the ladder language; standard function
blocks), from memory. The names of the examples are invented.
"""

from dataclasses import dataclass

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.program import (
    Assignment,
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Output,
    Program,
)

Course = tuple[tuple[int, str], ...]
"""Stretches of time in milliseconds, each with the inputs that are ON in it, or ``level=600``."""


@dataclass(frozen=True, slots=True)
class Told:
    """``lines`` say what it does; ``lanes`` are the symbols that the picture shows, by label.

    ``rung`` is the example in text form, ``blocks`` declares what it calls.
    """

    title: str
    lines: tuple[str, str]
    rung: str
    lanes: tuple[tuple[str, str], ...]
    course: Course
    blocks: str = ""


INPUTS = "start_pb AT %IX0.0 : BOOL; reset_pb AT %IX0.1 : BOOL; crate_eye AT %IX0.2 : BOOL;"
DECLARATIONS = f"{INPUTS} level AT %IW2 : INT; lamp AT %QX0.0 : BOOL; batches : INT;"

_ON_AND_OFF: Course = ((400, ""), (900, "start_pb"), (600, ""), (400, "start_pb"), (500, ""))
_LAMP = (("start_pb", "start_pb"), ("lamp", "lamp"))
_TIMER = (("IN", "start_pb"), ("Q", "delay.q"), ("ET", "delay.et"))


def _pulses(symbol: str, count: int) -> Course:
    return ((150, symbol), (150, "")) * count


ELEMENTS: dict[str, Told] = {
    ContactKind.OPEN: Told(
        "Normally open contact",
        (
            "Conducts while its BOOL is ON.",
            "A stop button that is wired normally closed is ON at rest: it takes this contact.",
        ),
        "lamp := start_pb;",
        _LAMP,
        _ON_AND_OFF,
    ),
    ContactKind.CLOSED: Told(
        "Normally closed contact",
        (
            "Conducts while its BOOL is OFF.",
            "It looks at the signal, not at the device: a broken wire makes it conduct.",
        ),
        "lamp := NOT start_pb;",
        _LAMP,
        _ON_AND_OFF,
    ),
    ContactKind.RISING: Told(
        "Rising edge contact",
        (
            "Conducts for one scan, the one in which its BOOL has come ON.",
            "The BOOL must go OFF before it conducts again. Here a scan takes 50 ms.",
        ),
        "lamp := RISING(start_pb);",
        _LAMP,
        _ON_AND_OFF,
    ),
    ContactKind.FALLING: Told(
        "Falling edge contact",
        (
            "Conducts for one scan, the one in which its BOOL has gone OFF.",
            "The BOOL must come ON before it conducts again. Here a scan takes 50 ms.",
        ),
        "lamp := FALLING(start_pb);",
        _LAMP,
        _ON_AND_OFF,
    ),
    "comparison": Told(
        "Comparison",
        (
            "Conducts while the relation holds: =, <>, <, <=, > or >=.",
            "It compares two numbers or two durations, anew in each scan.",
        ),
        "lamp := level >= 500;",
        (("level", "level"), ("lamp", "lamp")),
        (
            *((100, f"level={value}") for value in range(200, 800, 50)),
            *((100, f"level={value}") for value in range(800, 300, -100)),
        ),
    ),
    CoilKind.COIL: Told(
        "Coil",
        (
            "Its BOOL is ON in each scan in which power arrives, and OFF in every other.",
            "A BOOL has one coil: of two, only the lower one counts.",
        ),
        "lamp := start_pb;",
        _LAMP,
        _ON_AND_OFF,
    ),
    CoilKind.NEGATED: Told(
        "Negated coil",
        (
            "Its BOOL is OFF in each scan in which power arrives, and ON in every other.",
            "With power it is OFF, so it is also ON while nothing else has happened yet.",
        ),
        "NOT lamp := start_pb;",
        _LAMP,
        _ON_AND_OFF,
    ),
    CoilKind.SET: Told(
        "Set coil",
        (
            "Power turns its BOOL ON; without power the BOOL stays as it is.",
            "A reset coil turns it OFF again: here reset_pb, in the rung below.",
        ),
        "IF start_pb THEN lamp := TRUE; END_IF; IF reset_pb THEN lamp := FALSE; END_IF;",
        (*_LAMP[:1], ("reset_pb", "reset_pb"), *_LAMP[1:]),
        ((400, ""), (300, "start_pb"), (700, ""), (300, "reset_pb"), (600, "")),
    ),
    CoilKind.RESET: Told(
        "Reset coil",
        (
            "Power turns its BOOL OFF; without power the BOOL stays as it is.",
            "While set and reset both have power, the one further down wins.",
        ),
        "IF start_pb THEN lamp := TRUE; END_IF; IF reset_pb THEN lamp := FALSE; END_IF;",
        (*_LAMP[:1], ("reset_pb", "reset_pb"), *_LAMP[1:]),
        (
            (300, ""),
            (300, "start_pb"),
            (500, ""),
            (300, "reset_pb"),
            (300, ""),
            (400, "start_pb reset_pb"),
            (400, ""),
        ),
    ),
    "assignment": Told(
        "Assignment",
        (
            "In each scan in which power arrives, the number becomes the value on the right.",
            "To count a press once, an edge contact stands in front of it.",
        ),
        "IF RISING(start_pb) THEN batches := batches + 1; END_IF;",
        (("start_pb", "start_pb"), ("batches", "batches")),
        _ON_AND_OFF,
    ),
    "TON": Told(
        "TON, on-delay timer",
        (
            "Q comes ON when IN has been ON for PT without a break, and goes OFF with IN.",
            "ET runs up to PT while IN is ON and is zero without it.",
        ),
        "lamp := start_pb AND delay(PT := T#1s);",
        _TIMER,
        ((300, ""), (600, "start_pb"), (300, ""), (1600, "start_pb"), (500, "")),
        "delay : TON;",
    ),
    "TOF": Told(
        "TOF, off-delay timer",
        (
            "Q comes ON with IN and goes OFF when IN has been OFF for PT without a break.",
            "ET runs up to PT while IN is OFF; the next IN sets it to zero.",
        ),
        "lamp := start_pb AND delay(PT := T#1s);",
        _TIMER,
        ((300, ""), (400, "start_pb"), (500, ""), (400, "start_pb"), (1700, "")),
        "delay : TOF;",
    ),
    "TP": Told(
        "TP, pulse timer",
        (
            "When IN comes ON, Q is ON for exactly PT, whatever IN does meanwhile.",
            "ET runs with the pulse and goes to zero when it is over and IN is OFF.",
        ),
        "lamp := start_pb AND delay(PT := T#1s);",
        _TIMER,
        ((300, ""), (300, "start_pb"), (1200, ""), (1500, "start_pb"), (500, "")),
        "delay : TP;",
    ),
    "CTU": Told(
        "CTU, up-counter",
        (
            "CV goes up by one each time CU comes ON; Q is ON while CV is at least PV.",
            "R sets CV to zero, and nothing is counted while R is ON.",
        ),
        "lamp := crate_eye AND count(R := reset_pb, PV := 3);",
        (("CU", "crate_eye"), ("R", "reset_pb"), ("CV", "count.cv"), ("Q", "count.q")),
        ((200, ""), *_pulses("crate_eye", 4), (200, "reset_pb"), (150, ""), (200, "crate_eye")),
        "count : CTU;",
    ),
    "CTD": Told(
        "CTD, down-counter",
        (
            "CV goes down by one each time CD comes ON; Q is ON while CV is zero or less.",
            "LD sets CV to PV, and nothing is counted while LD is ON.",
        ),
        "lamp := crate_eye AND count(LD := reset_pb, PV := 3);",
        (("CD", "crate_eye"), ("LD", "reset_pb"), ("CV", "count.cv"), ("Q", "count.q")),
        ((200, ""), (200, "reset_pb"), (150, ""), *_pulses("crate_eye", 4), (200, "")),
        "count : CTD;",
    ),
    "CTUD": Told(
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
            *_pulses("crate_eye", 3),
            *_pulses("start_pb", 2),
            (150, "reset_pb"),
            (250, ""),
        ),
        "count : CTUD;",
    ),
    "R_TRIG": Told(
        "R_TRIG, rising edge detector",
        (
            "Q is ON for one scan, the one in which CLK has come ON.",
            "It looks at the power in front of it, a rising edge contact at one BOOL.",
        ),
        "lamp := start_pb AND edge();",
        (("CLK", "start_pb"), ("Q", "edge.q")),
        _ON_AND_OFF,
        "edge : R_TRIG;",
    ),
    "F_TRIG": Told(
        "F_TRIG, falling edge detector",
        (
            "Q is ON for one scan, the one in which CLK has gone OFF.",
            "After a cold start with CLK OFF it gives one pulse, as the standard's rule has it.",
        ),
        "lamp := start_pb AND edge();",
        (("CLK", "start_pb"), ("Q", "edge.q")),
        _ON_AND_OFF,
        "edge : F_TRIG;",
    ),
    "SR": Told(
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
    "RS": Told(
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
}
"""By the word that ``element_key`` gives."""


def element_key(element: Element | Output, program: Program) -> str | None:
    """Where ELEMENTS tells of it; None for a block whose instance is not declared."""
    match element:
        case Contact(kind, _) | Coil(kind, _):
            return kind.value
        case Comparison():
            return "comparison"
        case Assignment():
            return "assignment"
        case Block(instance, _):
            types = {variable.symbol: variable.type for variable in program.variables}
            found = types.get(instance)
            return found if found in ELEMENTS else None
