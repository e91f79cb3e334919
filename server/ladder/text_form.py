"""The text form: modelled on IEC 61131-3's Structured Text, with additions for rungs.

``parse_program(print_program(p)) == p`` for every program. The additions: several coils before one
``:=``, a coil after IF, NOT before a coil, RISING and FALLING, a block in line without the input
where power enters, and a network without a coil.

What the standard writes is read as the rungs that one would draw (``text_statements``,
``text_branches``, ``text_lowering``), or refused with what to write instead; what is printed is
always the form above.

One example of every construct::

    PROGRAM apple_sump
    VAR
        start_pb AT %IX0.0 : BOOL;  // Start push-button
        count : INT := 3;
        fill_delay : TON;
    END_VAR
    VAR RETAIN
        batch_running : BOOL;
    END_VAR

    // [R1, R2a] The fill pump seals in. (AND is series, OR is parallel.)
    fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;

    // [R3] Edges; a set and a reset coil and a number.
    IF RISING(eye) AND FALLING(jam) THEN running := TRUE; fault := FALSE; n := n + 1; END_IF;

    // Two coils, one negated; a function block in line; a comparison.
    lamp, NOT horn := running AND fill_delay(PT := T#5s) AND level > 500;

    // A coil and a set coil.
    IF ready := a AND b THEN latched := TRUE; END_IF;

    // A block alone; its output is read elsewhere as counter.Q.
    a AND counter(R := NOT reset_pb, PV := 5);

    // TRUE is a wire, a semicolon alone is an empty rung.
    on := TRUE;

    ;
    END_PROGRAM
"""

from collections.abc import Callable, Iterable
from typing import TypeVar

from server.ladder.bounds import over_limits
from server.ladder.limits import MAX_MESSAGES, MAX_TEXT_BYTES
from server.ladder.messages import Message, Place, ProgramError, error
from server.ladder.program import (
    Block,
    BlockInput,
    Comparison,
    Contact,
    Element,
    Output,
    Program,
    Rung,
    Series,
    Variable,
)
from server.ladder.text_cursor import SyntaxMistake
from server.ladder.text_parser import Parser
from server.ladder.text_printer import (
    print_element,
    print_network,
    print_output,
    print_program,
    print_rung,
    types_of,
)
from server.ladder.text_source import RungSource, Source

__all__ = [
    "parse_element",
    "parse_input",
    "parse_network",
    "parse_output",
    "parse_program",
    "parse_rung",
    "parse_rungs",
    "parse_source",
    "print_element",
    "print_network",
    "print_output",
    "print_program",
    "print_rung",
    "types_of",
]

T = TypeVar("T")


def parse_program(text: str) -> Program:
    """Read a whole program. Raises ProgramError with every mistake found, by line and column."""
    return parse_source(text).program


def parse_source(text: str, *, stored: bool = False) -> Source:
    """Read a whole program and keep the places of its elements.

    A ``stored`` text may declare symbols that are keywords by now.
    """
    source = _read(text, Parser.program, stored=stored)
    _refuse(source.locate_all(over_limits(source.program)))
    return source


def parse_rungs(text: str, declared: Iterable[Variable] = ()) -> tuple[Rung, ...]:
    """Read rungs alone, as they are pasted; ``declared`` is what the program has declared."""

    def below(parser: Parser) -> tuple[RungSource, ...]:
        parser.know(declared)
        return parser.rungs()

    sources = _read(text, below)
    rungs = tuple(source.rung for source in sources)
    program = Program("pasted", (), rungs)
    _refuse(Source(program, (), sources).locate_all(over_limits(program)))
    return rungs


def parse_rung(text: str, declared: Iterable[Variable] = ()) -> Rung:
    """Read exactly one rung with the comment lines above it."""
    rungs = parse_rungs(text, declared)
    if len(rungs) != 1:
        raise ProgramError(
            [
                error(
                    "syntax",
                    Place(line=1, column=1),
                    f"The text has {len(rungs)} rungs.",
                    "Write one.",
                )
            ]
        )
    return rungs[0]


def parse_network(text: str) -> Series:
    """Read a network alone: ``(a OR b) AND NOT c``. An empty text is a wire."""
    rung = Rung(_read(text, Parser.network))
    _refuse(over_limits(Program("typed", (), (rung,))))
    return rung.network


def parse_element(text: str) -> Element:
    """Read one element: ``NOT stop_pb``, ``level > 500``, ``delay(PT := T#5s)``."""
    items = parse_network(text).items
    match items:
        case (Contact() | Comparison() | Block() as element,):
            return element
        case _:
            raise ProgramError(
                [
                    error(
                        "syntax",
                        Place(),
                        "This is not one element.",
                        "Write one, like NOT stop_pb.",
                    )
                ]
            )


def parse_input(text: str) -> BlockInput:
    """Read one wired input of a block: ``PT := T#5s``, ``R := NOT reset_pb``."""
    return _read(text, Parser.input)


def parse_output(text: str) -> Output:
    """Read one output: ``lamp``, ``NOT lamp``, ``lamp := TRUE``, ``n := n + 1``."""
    return _read(text, Parser.output)


def _read(text: str, construct: Callable[[Parser], T], *, stored: bool = False) -> T:
    if len(text.encode("utf-8", "replace")) > MAX_TEXT_BYTES:
        raise ProgramError(
            [
                error(
                    "limit",
                    Place(),
                    f"The text is larger than {MAX_TEXT_BYTES} bytes.",
                    "Leave out what is not needed.",
                )
            ]
        )
    parser = Parser(text, stored=stored)
    try:
        result = construct(parser)
    except SyntaxMistake:
        result = None
    if result is None or parser.faults:
        faults = sorted(parser.faults, key=lambda fault: _position(fault.place))
        raise ProgramError(faults[:MAX_MESSAGES])
    return result


def _refuse(messages: tuple[Message, ...]) -> None:
    if messages:
        raise ProgramError(messages)


def _position(place: Place) -> tuple[int, int]:
    return place.line or 0, place.column or 0
