"""The observer: rungs of an exercise that make signals for its checks, beside the program.

The text has declarations and rungs, without PROGRAM. It declares what it writes and its blocks;
all other names are signals of the machine.
"""

from collections.abc import Iterable, Iterator, Mapping

from server.ladder.elements import BLOCK_TYPES
from server.ladder.messages import Message, Place, ProgramError, error
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Comparison,
    Element,
    Name,
    Program,
    Variable,
    walk,
)
from server.ladder.text_form import parse_source
from server.ladder.validation import errors
from server.marking.files.conditions import bit_faults, element_faults
from server.marking.files.document import Document, FieldPath
from server.scan.assembler import Bit, Elapsed, Quantity, Signal, Word

NO_OBSERVER = Program("observer")

_BEFORE, _BEHIND = "PROGRAM observer\n", "\nEND_PROGRAM\n"


def read_observer(
    document: Document, path: FieldPath, text: str, signals: dict[str, Signal]
) -> Program:
    """Return the observer at ``path``; what is wrong with it is noted in the document."""
    try:
        source = parse_source(_BEFORE + text + _BEHIND, stored=True)
    except ProgramError as refused:
        _note(document, path, refused.messages)
        return NO_OBSERVER
    _note(document, path, source.locate_all(_faults(source.program, signals)))
    return source.program


def own_signals(program: Program) -> dict[str, Signal]:
    """Return what the observer's variables are, by name; their planes are not known yet."""
    own: dict[str, Signal] = {}
    for variable in program.variables:
        own |= dict(_signals_of(variable))
    return own


def _signals_of(variable: Variable) -> Iterator[tuple[str, Signal]]:
    kinds: dict[str, Signal] = {
        "BOOL": Bit(0),
        "INT": Word(0),
        "TIME": Elapsed(0, 0, 0, 0, 0),
        "WORD": Word(0, signed=False),
    }
    if variable.type in BLOCK_TYPES:
        for pin in BLOCK_TYPES[variable.type].outputs:
            yield f"{variable.symbol}.{pin.name}".lower(), kinds[pin.type]
    else:
        yield variable.symbol, kinds[variable.type]


def _faults(program: Program, signals: dict[str, Signal]) -> Iterator[Message]:
    for variable in program.variables:
        place = Place(symbol=variable.symbol)
        if variable.symbol in signals:
            text = f"{variable.symbol} is a signal of the machine already."
            yield error("duplicate", place, text, "Choose another symbol.")
        if variable.address is not None:
            text = f"{variable.symbol} has an address; the observer has no points."
            yield error("address", place, text, "Declare it without AT.")
    for message in errors(program):
        if not _may_be_a_signal(program, message, signals):
            yield message
    known = signals | own_signals(program)
    for number, rung in enumerate(program.rungs):
        for path, element in walk(rung.network):
            for _, sentence in _reference_faults(element, known):
                yield error("signal", Place(rung=number, path=path), sentence)


def _may_be_a_signal(program: Program, message: Message, signals: Mapping[str, Signal]) -> bool:
    """Return whether the message misses a declaration of what an element or assignment reads."""
    rung, path = message.place.rung, message.place.path
    if message.undeclared and rung is not None and message.place.output is not None:
        output = program.rungs[rung].outputs[message.place.output]
        reads = isinstance(output, AssignmentStatement) and output.target != message.undeclared
        return reads and isinstance(signals.get(message.undeclared), Word)
    if message.rule != "undeclared" or rung is None or path is None:
        return False
    element = dict(walk(program.rungs[rung].network))[path]
    declared = {variable.symbol for variable in program.variables}
    return not isinstance(element, Block) or element.instance in declared


def _reference_faults(element: Element, signals: Mapping[str, Signal]) -> Iterator[tuple[str, str]]:
    if isinstance(element, Comparison):
        for side in (element.left, element.right):
            if isinstance(side, Name) and isinstance(signals.get(side.symbol.lower()), Quantity):
                name = side.symbol.lower()
                yield name, f"{name} is measured; an observer can't compare it. Do so in a check."
    if isinstance(element, Block):
        for wired in element.inputs:
            if isinstance(wired.operand, Name):
                yield from bit_faults(wired.operand.symbol, signals)
    else:
        yield from element_faults(element, signals)


def _note(document: Document, path: FieldPath, messages: Iterable[Message]) -> None:
    for message in messages:
        line = max(1, (message.place.line or 2) - 1)
        column = message.place.column or 1
        sentence = " ".join(filter(None, (message.text, message.fix)))
        document.fault(path, sentence, line=line, column=column)
