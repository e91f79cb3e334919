"""What every edit has in common: where the cursor goes, and how an edit is refused."""

from dataclasses import dataclass, replace
from typing import NamedTuple, NoReturn

from server.ladder.messages import Place, ProgramError, error
from server.ladder.program import Path, Program, Rung


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


def refuse(place: Place, text: str, mend: str) -> NoReturn:
    """Say in one sentence why an edit can't be done."""
    raise ProgramError([error("edit", place, text, mend)])


def rung_at(program: Program, index: int) -> Rung:
    """The rung with this number, from 0."""
    if not 0 <= index < len(program.rungs):
        refuse(Place(), f"There is no rung {index + 1}.", f"The program has {len(program.rungs)}.")
    return program.rungs[index]


def with_rung(
    program: Program, index: int, rung: Rung, path: Path | None = None, output: int | None = None
) -> Edited:
    """The program with another rung at this place, and the cursor on it."""
    rungs = (*program.rungs[:index], rung, *program.rungs[index + 1 :])
    return Edited(replace(program, rungs=rungs), Selection(index, path, output))
