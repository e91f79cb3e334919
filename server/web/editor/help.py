"""Help in place: what an element does, where its symbols are used, what its rung serves."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from fastapi import APIRouter, Request
from starlette.responses import Response

from server.ladder.element_help import HELP, help_key
from server.ladder.messages import Place
from server.ladder.program import (
    Block,
    Comparison,
    Contact,
    Element,
    Output,
    Program,
    Rung,
    Series,
    Variable,
    walk,
)
from server.ladder.references import Uses, cross_reference, occurrences_in
from server.marking.exercise import Exercise, Requirement
from server.marking.presentation.element_pictures import element_picture
from server.store.programs import working_copy
from server.web.dependencies import Reading
from server.web.editor.actions import EditorHere
from server.web.editor.rungs import at_of
from server.web.exercises.sheet import resting
from server.web.rendering import fragment, page

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Link:
    """A rung, from 0, that uses a symbol: the first place in it as the browser names places."""

    rung: int
    at: str
    places: int


@dataclass(frozen=True, slots=True)
class SymbolUses:
    """A symbol, what is known of it, and the rungs that write, call and read it."""

    symbol: str
    facts: tuple[str, ...]
    written: tuple[Link, ...]
    called: tuple[Link, ...]
    read: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Served:
    """A requirement that a rung names, and the other rungs, from 0, that name it too."""

    requirement: Requirement
    others: tuple[int, ...]


@router.get("/elements")
def elements(request: Request) -> Response:
    """Show every rung element with its timing picture."""
    pictures = [(key, element_picture(key)) for key in HELP]
    return page(request, "editor/elements.html", pictures=pictures)


@router.get("/assignments/{assignment_id}/program/about")
def about_selected(
    request: Request,
    editor: EditorHere,
    session: Reading,
    rung: int = -1,
    at: str = "",
    symbol: str = "",
) -> Response:
    """Show what the editor knows of an element or output, a whole rung, or a symbol alone."""
    copy = working_copy(session, editor.here.assignment, editor.visitor.id, editor.here.start)
    program = editor.sheet(copy).program
    found = program.rungs[rung] if 0 <= rung < len(program.rungs) else None
    element = None if found is None else _at(found, at)
    key = None if element is None else help_key(element, program)
    symbols = [symbol] if symbol else _symbols_of(element)
    uses = cross_reference(program)
    return fragment(
        request,
        "editor/_about.html",
        key=key,
        picture=None if key is None else element_picture(key),
        uses=[_uses_of(each, program, editor.here.exercise, uses) for each in symbols],
        rung=None if found is None else rung,
        served=[] if found is None else list(_served(rung, program, editor.here.exercise)),
    )


def _at(rung: Rung, at: str) -> Element | Output | None:
    """Return what is at a place as the browser names it: ``path 1.0.0``, ``output 0``."""
    places: dict[str, Element | Output] = {
        at_of(Place(path=path)): element for path, element in walk(rung.network)
    }
    outputs = {at_of(Place(output=i)): output for i, output in enumerate(rung.outputs)}
    return (places | outputs).get(at)


def _symbols_of(element: Element | Output | None) -> list[str]:
    match element:
        case None:
            return []
        case Contact() | Comparison() | Block():
            alone = Rung(Series((element,)))
        case _:
            alone = Rung(outputs=(element,))
    return list(dict.fromkeys(found.symbol for found in occurrences_in(alone)))


def _uses_of(
    symbol: str, program: Program, exercise: Exercise, uses: dict[str, Uses]
) -> SymbolUses:
    variable = next((each for each in program.variables if each.symbol == symbol), None)
    facts = ("not declared",) if variable is None else tuple(_facts(variable, exercise))
    used = uses.get(symbol, Uses())
    return SymbolUses(symbol, facts, _links(used.writes), _links(used.calls), _links(used.reads))


def _facts(variable: Variable, exercise: Exercise) -> Iterator[str]:
    yield variable.address or variable.type
    for point in (*exercise.points, *exercise.internal_bits):
        if point.address == variable.address:
            yield from filter(None, (point.device, point.label))
            if point.resting is not None:
                yield f"at rest {resting(point)}"
    if variable.comment:
        yield variable.comment


def _links(places: Sequence[Place]) -> tuple[Link, ...]:
    """Return one for each rung; places of a rung stand together."""
    by_rung = [(rung, list(group)) for rung, group in groupby(places, lambda place: place.rung)]
    return tuple(Link(r, at_of(group[0]), len(group)) for r, group in by_rung if r is not None)


def _served(number: int, program: Program, exercise: Exercise) -> Iterator[Served]:
    known = {requirement.id: requirement for requirement in exercise.requirements}
    for id in program.rungs[number].serves:
        others = (i for i, rung in enumerate(program.rungs) if id in rung.serves and i != number)
        if id in known:
            yield Served(known[id], tuple(others))
