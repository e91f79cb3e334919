"""Rungs for a page: the core's drawing, with what the keyboard and a screen reader need of it.

A view does not know its rung's number: after an insertion the rungs below are the same views, and
the browser only counts them anew.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from markupsafe import Markup

from server.ladder.description import describe_rung
from server.ladder.drawing import draw_operable_rung, draw_rung
from server.ladder.messages import Message, Place, Severity
from server.ladder.names import bit_of
from server.ladder.program import (
    AssignmentStatement,
    Coil,
    Comparison,
    Contact,
    Item,
    Output,
    Program,
    Rung,
    Variable,
)
from server.ladder.references import occurrences_in
from server.ladder.text_form import print_rung, types_of
from server.ladder.tree import item_at

RUNG_WIDTH = 600
"""From rail to rail on a page, where a rung needs no more."""


@dataclass(frozen=True, slots=True)
class Remark:
    """A message beside the rung it concerns; ``place`` names an element or output, or nothing.

    ``declaration`` would fix it.
    """

    severity: Severity
    text: str
    fix: str
    place: str = ""
    declaration: Variable | None = None


@dataclass(frozen=True, slots=True)
class RungView:
    """What a page shows of one rung; ``text`` is its text form below its declarations.

    ``carried`` is a text that means the same in a program that has none of them.
    """

    drawing: Markup
    description: str
    comment: str
    serves: tuple[str, ...]
    text: str
    carried: str
    remarks: tuple[Remark, ...] = ()


def rung_views(
    program: Program,
    messages: Iterable[Message] = (),
    like: Mapping[int, RungView] | None = None,
    points: Mapping[str, str] | None = None,
) -> Iterator[RungView]:
    """Yield the rungs of a program, each with the messages that concern it.

    ``like`` may have views, by the identity of their rungs, of a program with the same variables:
    only the messages may have changed there. ``points`` are the addresses of the exercise's points
    by their symbols.
    """
    by_rung: dict[int | None, list[Message]] = {}
    for message in messages:
        by_rung.setdefault(message.place.rung, []).append(message)
    declared = {variable.symbol: variable for variable in program.variables}
    for index, rung in enumerate(program.rungs):
        remarks = tuple(
            replace(remark(each), declaration=_declaring(each, rung, points or {}))
            for each in by_rung.get(index, ())
        )
        known = like.get(id(rung)) if like else None
        if known is not None:
            yield known if known.remarks == remarks else replace(known, remarks=remarks)
            continue
        drawing, description, text = _drawn(rung, _declarations(rung, declared))
        carried = print_rung(rung)
        yield RungView(drawing, description, rung.comment, rung.serves, text, carried, remarks)


def remark(message: Message) -> Remark:
    """Return the message as it stands at its rung, which needs no number there."""
    return Remark(message.severity, message.text, message.fix, at_of(message.place))


def _declaring(message: Message, rung: Rung, points: Mapping[str, str]) -> Variable | None:
    """Return the declaration that a message asks for, if its place tells the type.

    A symbol of the exercise's points has their address.
    """
    if not message.undeclared:
        return None
    wanted: Item | Output | None = None
    if message.place.path is not None:
        wanted = item_at(rung.network, message.place.path)
    elif message.place.output is not None:
        wanted = rung.outputs[message.place.output]
    if not isinstance(wanted, Contact | Coil | Comparison | AssignmentStatement):
        return None
    if isinstance(wanted, Contact | Coil) and "." in wanted.symbol:
        # Of the output of a block the kind is not told.
        return Variable(message.undeclared, "WORD") if bit_of(wanted.symbol) else None
    if isinstance(wanted, AssignmentStatement) and wanted.operator is not None:
        kind: str = wanted.operator.row.result[0]
    else:
        kind = "BOOL" if isinstance(wanted, Contact | Coil) else "INT"
    return Variable(message.undeclared, kind, points.get(message.undeclared))


def at_of(place: Place) -> str:
    """Return a place in its rung as static/editor/selection.js names it.

    Empty for the rung itself.
    """
    if place.path is not None:
        return "path " + ".".join(map(str, place.path))
    return "" if place.output is None else f"output {place.output}"


def _declarations(rung: Rung, declared: dict[str, Variable]) -> tuple[Variable, ...]:
    """Return the declarations that the drawing of a rung depends on."""
    used = dict.fromkeys(found.symbol for found in occurrences_in(rung))
    return tuple(declared[symbol] for symbol in used if symbol in declared)


@lru_cache(maxsize=4096)
def _drawn(rung: Rung, variables: tuple[Variable, ...]) -> tuple[Markup, str, str]:
    program = Program("", variables, (rung,))
    # Requirements and comment stand beside the drawing as text of their own.
    bare = Rung(rung.network, rung.outputs)
    return (
        Markup(draw_operable_rung(rung, program, width=RUNG_WIDTH)),
        describe_rung(bare, program),
        print_rung(rung, types_of(program)),
    )


def drawn_rungs(program: Program) -> list[tuple[Rung, Markup]]:
    """Return each rung with a drawing to look at.

    Number, requirements and comment stand beside it.
    """
    return [
        (rung, Markup(draw_rung(rung, program, number, margin=False, width=RUNG_WIDTH)))
        for number, rung in enumerate(program.rungs)
    ]


@dataclass(frozen=True, slots=True)
class RungChanges:
    """From one list of rungs to the next. Old numbers name what is on the page now.

    ``replaced``: old number, new number, view. ``inserted`` (new number, view) stand together
    after the old number ``inserted_after``, -1 for the top.
    """

    replaced: tuple[tuple[int, int, RungView], ...]
    deleted: tuple[int, ...]
    inserted_after: int
    inserted: tuple[tuple[int, RungView], ...]


def changes_between(
    old: Sequence[RungView], new: Sequence[RungView], before: Program, after: Program
) -> RungChanges:
    """Return what a page that shows ``old`` must do to show ``new``."""
    first = 0
    shortest = min(len(old), len(new))
    while first < shortest and before.rungs[first] == after.rungs[first]:
        first += 1
    last = 0
    while last < shortest - first and before.rungs[-1 - last] == after.rungs[-1 - last]:
        last += 1
    old_end, new_end = len(old) - last, len(new) - last
    pairs = [
        *((i, i) for i in range(min(old_end, new_end))),
        *((old_end + i, new_end + i) for i in range(last)),
    ]
    return RungChanges(
        replaced=tuple((i, j, new[j]) for i, j in pairs if old[i] != new[j]),
        deleted=tuple(range(min(old_end, new_end), old_end)),
        inserted_after=old_end - 1,
        inserted=tuple((j, new[j]) for j in range(min(old_end, new_end), new_end)),
    )
