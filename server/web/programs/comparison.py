"""Two programs compared, for a page: each row in words, drawn with marks on what differs."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TypeAlias

from markupsafe import Markup

from server.ladder.comparison import (
    ChangeKind,
    RungChange,
    VariableChange,
    compare,
    describe_change,
)
from server.ladder.drawing import draw_rung
from server.ladder.program import Path, Program, Rung, Variable, walk
from server.ladder.text_printer import print_variable
from server.web.editor.rungs import RUNG_WIDTH

Places: TypeAlias = tuple[Path | int, ...]
"""Elements by their path and outputs by their number."""


@dataclass(frozen=True, slots=True)
class Side:
    """A rung as it was or is; ``words`` are 'before' and 'after', or 'removed' or 'added'.

    Where only words changed, the rung before is not drawn a second time.
    """

    words: str
    number: int
    rung: Rung
    drawing: Markup | None


@dataclass(frozen=True, slots=True)
class RungDifference:
    """One rung that differs, or several that are the same and so are not drawn."""

    change: ChangeKind
    words: str
    sides: tuple[Side, ...] = ()


@dataclass(frozen=True, slots=True)
class Declared:
    """A declaration that differs, as text."""

    change: ChangeKind
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class ProgramComparison:
    """What a page shows of a comparison; ``summary`` tells it in one sentence."""

    rows: tuple[RungDifference, ...]
    declarations: tuple[Declared, ...]
    summary: str


def compared(before: Program, after: Program) -> ProgramComparison:
    """Return what changed from one program to the other, drawn."""
    found = compare(before, after)
    return ProgramComparison(
        tuple(_rows(found.rungs, before, after)),
        tuple(map(_declared, found.variables)),
        _summary(found.rungs, len(found.variables)),
    )


def _summary(rungs: tuple[RungChange, ...], declarations: int) -> str:
    counts = [(sum(row.change is change for row in rungs), change) for change in _DIFFERENT]
    parts = [f"{_rungs(count)} {change}" for count, change in counts if count]
    if declarations:
        differ = "declaration differs" if declarations == 1 else "declarations differ"
        parts.append(f"{declarations} {differ}")
    return f"{', '.join(parts)}." if parts else "Both are the same."


_DIFFERENT = (ChangeKind.ADDED, ChangeKind.REMOVED, ChangeKind.CHANGED)


def _rungs(count: int) -> str:
    return f"{count} {'rung' if count == 1 else 'rungs'}"


def _rows(
    changes: tuple[RungChange, ...], before: Program, after: Program
) -> Iterator[RungDifference]:
    for same, rows in groupby(changes, key=lambda row: row.change is ChangeKind.SAME):
        if same:
            yield RungDifference(ChangeKind.SAME, _same([(row.after or 0) + 1 for row in rows]))
            continue
        for row in rows:
            words = describe_change(row, before, after)
            yield RungDifference(row.change, words, tuple(_sides(row, before, after)))


def _same(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"Rung {numbers[0]} is the same."
    return f"Rungs {numbers[0]} to {numbers[-1]} are the same."


def _sides(row: RungChange, before: Program, after: Program) -> Iterator[Side]:
    both = row.before is not None and row.after is not None
    places: Places
    if row.before is not None:
        places = (*row.elements_before, *row.outputs_before)
        places = places if both else _everything(before.rungs[row.before])
        side = _side("before" if both else "removed", before, row.before, places, "removed")
        yield replace(side, drawing=None) if _only_words(row, before, after) else side
    if row.after is not None:
        places = (*row.elements_after, *row.outputs_after)
        places = places if both else _everything(after.rungs[row.after])
        yield _side("after" if both else "added", after, row.after, places, "added")


def _only_words(row: RungChange, before: Program, after: Program) -> bool:
    if row.before is None or row.after is None:
        return False
    old, new = before.rungs[row.before], after.rungs[row.after]
    return (old.network, old.outputs) == (new.network, new.outputs)


def _everything(rung: Rung) -> Places:
    return (*(path for path, _ in walk(rung.network)), *range(len(rung.outputs)))


def _side(words: str, program: Program, index: int, places: Places, mark: str) -> Side:
    rung = program.rungs[index]
    drawing = draw_rung(
        rung,
        program,
        index,
        margin=False,
        width=RUNG_WIDTH,
        name=f"{mark}-rung",
        marks=dict.fromkeys(places, mark),
    )
    return Side(words, index + 1, rung, Markup(drawing))


def _declared(change: VariableChange) -> Declared:
    return Declared(change.change, _text(change.before), _text(change.after))


def _text(variable: Variable | None) -> str:
    if variable is None:
        return "–"
    return ("RETAIN " if variable.retain else "") + print_variable(variable)
