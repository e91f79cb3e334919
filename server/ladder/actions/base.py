"""What every action has in common: its form, where the cursor goes, and how it is refused."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated, ClassVar, NamedTuple, NoReturn, TypeAlias, TypeVar

from pydantic import ConfigDict, PlainValidator

from server.ladder.fields import refusal
from server.ladder.messages import Place, ProgramError, error
from server.ladder.program import BlockInput, Element, Output, Path, Program, Rung
from server.ladder.text_form import parse_element, parse_input, parse_output

T = TypeVar("T")


def _written(parse: Callable[[str], T]) -> PlainValidator:
    """Return a field that is one line of the text form."""

    def read(text: object) -> T:
        if not isinstance(text, str):
            raise refusal("This is no text.", "Write it like in the text form.")
        try:
            return parse(text)
        except ProgramError as refused:
            first = refused.messages[0]
            raise refusal(first.text, first.fix) from None

    return PlainValidator(read)


ElementText: TypeAlias = Annotated[Element, _written(parse_element)]
OutputText: TypeAlias = Annotated[Output, _written(parse_output)]
InputText: TypeAlias = Annotated[BlockInput, _written(parse_input)]


@dataclass(frozen=True, slots=True)
class Selection:
    """Where the cursor stands: on a rung, in it on an element or an output; or on a variable."""

    rung: int | None = None
    path: Path | None = None
    output: int | None = None
    symbol: str | None = None


class Edited(NamedTuple):
    """The program after an edit, and where to go on."""

    program: Program
    selection: Selection


class EditorAction(ABC):
    """Something that can be done to a program: its fields are those of its JSON object.

    ``action`` is its name there; rungs, outputs and the steps of a path count from 0.
    """

    __slots__ = ()
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")

    @abstractmethod
    def apply(self, program: Program) -> Edited:
        """Return the program after the action. Raises ProgramError where it can't be done."""


def refuse(place: Place, text: str, fix: str) -> NoReturn:
    """Say in one sentence why an edit can't be done."""
    raise ProgramError([error("edit", place, text, fix)])


def rung_at(program: Program, index: int) -> Rung:
    """Return the rung with this number, from 0."""
    if not 0 <= index < len(program.rungs):
        refuse(Place(), f"There is no rung {index + 1}.", f"The program has {len(program.rungs)}.")
    return program.rungs[index]


def with_rung(
    program: Program, index: int, rung: Rung, path: Path | None = None, output: int | None = None
) -> Edited:
    """Return the program with another rung at this place, and the cursor on it."""
    rungs = (*program.rungs[:index], rung, *program.rungs[index + 1 :])
    return Edited(replace(program, rungs=rungs), Selection(index, path, output))


def insert_rungs(program: Program, at: int, rungs: tuple[Rung, ...]) -> Edited:
    """Return the program with rungs before the rung ``at``, or after the last one."""
    at = max(0, min(at, len(program.rungs)))
    together = (*program.rungs[:at], *rungs, *program.rungs[at:])
    return Edited(replace(program, rungs=together), Selection(rung=at if rungs else None))
