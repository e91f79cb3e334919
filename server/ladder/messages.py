"""Messages about a program: what is the matter, where, and how to fix it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from server.ladder.program import Path


class Severity(StrEnum):
    """How much a message matters: an error keeps a program from running."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Place:
    """Where: a rung (from 0), in it an element or an output (from 0); line and column (from 1).

    ``symbol`` names the variable a message is about, also where no rung is concerned.
    """

    rung: int | None = None
    path: Path | None = None
    output: int | None = None
    line: int | None = None
    column: int | None = None
    symbol: str | None = None

    def in_rung(self, index: int) -> "Place":
        """Return the same place of this very rung."""
        return Place(index, self.path, self.output, self.line, self.column, self.symbol)

    def __str__(self) -> str:
        """In a reader's words, everything counted from 1: ``rung 3, element 2.1.1``."""
        words: list[str] = []
        if self.line is not None:
            words.append(f"line {self.line}")
            words.extend([f"column {self.column}"] if self.column is not None else [])
        if self.rung is not None:
            words.append(f"rung {self.rung + 1}")
            if self.path is not None:
                words.append("element " + ".".join(str(step + 1) for step in self.path))
            if self.output is not None:
                words.append(f"output {self.output + 1}")
        return ", ".join(words)


@dataclass(frozen=True, slots=True)
class Message:
    """One sentence that says what is the matter, and one that says how to fix it.

    ``undeclared`` is the symbol that a declaration would do it for, empty for other messages.
    """

    severity: Severity
    rule: str
    place: Place
    text: str
    fix: str = ""
    undeclared: str = ""

    def __str__(self) -> str:
        place = str(self.place)
        return " ".join(
            filter(None, (f"{place[0].upper()}{place[1:]}:" if place else "", self.text, self.fix))
        )


class ProgramError(ValueError):
    """A program that can't be read or run; carries every message that explains why."""

    def __init__(self, messages: Iterable[Message]) -> None:
        self.messages = tuple(messages)
        super().__init__("\n".join(map(str, self.messages)))


def in_rung(index: int, messages: Iterable[Message]) -> Iterator[Message]:
    """Messages about one rung, with its number."""
    return (replace(message, place=message.place.in_rung(index)) for message in messages)


def error(rule: str, place: Place, text: str, fix: str = "", *, undeclared: str = "") -> Message:
    """Return a message that keeps the program from running."""
    return Message(Severity.ERROR, rule, place, text, fix, undeclared)
