"""The sheets that people are working on, kept in memory between two edits.

A sheet holds what follows from a stored program: its rungs as views and the messages about it.
Reading and checking 300 rungs takes longer than an edit may, so the state before an edit is taken
from here; whatever is not here is made again from what is stored.
"""

from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime
from threading import Lock
from typing import Annotated

from fastapi import Depends
from starlette.requests import HTTPConnection

from server.ladder.json_form import from_json
from server.ladder.messages import Message
from server.ladder.program import Program
from server.ladder.validation import validate
from server.marking.exercise import Exercise
from server.store.programs import WorkingCopy
from server.web.editor.rungs import RungView, rung_views
from server.web.workplace import Workplace

SHEETS_KEPT = 300


@dataclass(frozen=True, slots=True)
class EditorSheet:
    """A program with everything that the page shows of it."""

    program: Program
    rungs: tuple[RungView, ...]
    general: tuple[Message, ...]


def sheet_of(
    program: Program, exercise: Exercise, before: EditorSheet | None = None
) -> EditorSheet:
    """Return the sheet of a program.

    Rungs that it shares with the one ``before`` are not drawn again.
    """
    messages = validate(program, exercise.points)
    general = tuple(message for message in messages if message.place.rung is None)
    same = before is not None and before.program.variables == program.variables
    like = _by_rung(before) if before is not None and same else None
    addresses = {point.symbol: point.address for point in exercise.points}
    return EditorSheet(program, tuple(rung_views(program, messages, like, addresses)), general)


def _by_rung(sheet: EditorSheet) -> dict[int, RungView]:
    return {id(rung): view for rung, view in zip(sheet.program.rungs, sheet.rungs, strict=True)}


class Sheets:
    """The newest sheet of each person at each assignment, the longest unused given up first."""

    def __init__(self) -> None:
        self._sheets: OrderedDict[
            tuple[int, int], tuple[int, datetime | None, int, EditorSheet]
        ] = OrderedDict()
        self._lock = Lock()

    def find(self, here: Workplace, user_id: int, copy: WorkingCopy) -> EditorSheet:
        """Return the sheet of what is stored."""
        with self._lock:
            kept = self._sheets.get((here.assignment.id, user_id))
        if kept is not None and kept[:3] == _state(here, copy):
            return kept[3]
        sheet = sheet_of(from_json(copy.program), here.exercise)
        self.keep(here, user_id, copy, sheet)
        return sheet

    def keep(self, here: Workplace, user_id: int, copy: WorkingCopy, sheet: EditorSheet) -> None:
        place = (here.assignment.id, user_id)
        with self._lock:
            self._sheets[place] = (*_state(here, copy), sheet)
            self._sheets.move_to_end(place)
            if len(self._sheets) > SHEETS_KEPT:
                self._sheets.popitem(last=False)


def _state(here: Workplace, copy: WorkingCopy) -> tuple[int, datetime | None, int]:
    """Return what tells two states of one person's program apart."""
    return copy.revision, copy.saved_at, id(here.exercise)


async def sheets(connection: HTTPConnection) -> Sheets:
    found: Sheets = connection.app.state.sheets
    return found


SheetsHere = Annotated[Sheets, Depends(sheets)]
