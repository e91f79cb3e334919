"""Conditions of checks and scenarios: networks over the signals of an exercise's machine."""

import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches

from server.ladder.elements import Relation
from server.ladder.messages import ProgramError
from server.ladder.names import shortened
from server.ladder.program import (
    Block,
    Comparison,
    Contact,
    Duration,
    Element,
    Name,
    Number,
    walk,
)
from server.ladder.text_form import parse_network
from server.marking.files.document import Document, FieldPath
from server.scan.assembler import Bit, Elapsed, Quantity, Signal, Word

_ORDERED = (Relation.LT, Relation.LE, Relation.GT, Relation.GE)


class Conditions:
    """Holds conditions against the signals of an exercise and notes what is wrong in the document.

    ``signals`` are those of the machine by lower-case name.
    """

    def __init__(self, document: Document, signals: Mapping[str, Signal]) -> None:
        self._document = document
        self._signals = signals

    def note_faults(self, path: FieldPath, text: str) -> None:
        """Note what is wrong with the condition at ``path``."""
        try:
            network = parse_network(text)
        except ProgramError as refused:
            for message in refused.messages:
                place = message.place
                self._document.fault(
                    path,
                    " ".join(filter(None, (message.text, message.fix))),
                    line=place.line or 1,
                    column=place.column or 1,
                )
            return
        for _, element in walk(network):
            if isinstance(element, Block):
                sentence = (
                    f"The block {element.instance} stands in a condition. Call it in the observer "
                    "and name its output here."
                )
                self._note(path, text, element.instance, sentence)
            else:
                for word, sentence in element_faults(element, self._signals):
                    self._note(path, text, word, sentence)

    def _note(self, path: FieldPath, text: str, word: str, sentence: str) -> None:
        line, column = _position(text, word)
        self._document.fault(path, sentence, line=line, column=column)


def element_faults(element: Element, signals: Mapping[str, Signal]) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a contact or comparison: the word that it is at, and a sentence."""
    match element:
        case Contact(_, symbol):
            yield from bit_faults(symbol, signals)
        case Comparison(left, relation, right):
            sides = (left, right)
            named = {s.symbol.lower(): s.symbol for s in sides if isinstance(s, Name)}
            for symbol in named.values():
                yield from _number_faults(symbol, signals)
            kinds = {name: type(signals.get(name)) for name in named}
            for name, kind in kinds.items():
                if kind is Quantity and relation not in _ORDERED:
                    yield name, f"{name} is measured and hardly ever equal. Use >=, >, < or <=."
                elif kind is Quantity and not any(isinstance(s, Number) for s in sides):
                    yield name, f"{name} is measured. Compare it with a whole number."
                elif kind is Elapsed and not any(isinstance(s, Duration) for s in sides):
                    yield name, f"{name} is a time. Compare it with a duration like T#2s."
                elif kind is Word and any(isinstance(s, Duration) for s in sides):
                    yield name, f"{name} is a number. Compare it with a number."
        case Block():
            pass  # refused where the condition is read


def bit_faults(symbol: str, signals: Mapping[str, Signal]) -> Iterator[tuple[str, str]]:
    """Yield the same for a name that stands where a signal that is on or off belongs."""
    name = symbol.lower()
    if name not in signals:
        yield symbol, _unknown(name, signals)
    elif not isinstance(signals[name], Bit):
        yield symbol, f"{name} is a number. Compare it, as in '{name} > 5'."


def _number_faults(symbol: str, signals: Mapping[str, Signal]) -> Iterator[tuple[str, str]]:
    name = symbol.lower()
    if name not in signals:
        yield symbol, _unknown(name, signals)
    elif isinstance(signals[name], Bit):
        yield symbol, f"{name} is on or off. Name it without a comparison."


def _unknown(name: str, signals: Mapping[str, Signal]) -> str:
    close = get_close_matches(name, signals, 1)
    fix = f"Did you mean '{close[0]}'?" if close else "Name a signal of this exercise."
    return f"There is no signal {shortened(name)}. {fix}"


def _position(text: str, word: str) -> tuple[int, int]:
    """Line and column, from 1, at which a word first stands in a condition."""
    found = re.search(rf"(?<![\w.]){re.escape(word)}(?!\w)", text, re.IGNORECASE)
    before = text[: found.start()] if found else ""
    return before.count("\n") + 1, len(before) - before.rfind("\n")
