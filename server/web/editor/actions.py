"""The rung editor: actions on the working program, answered with what they changed on the page.

The browser sends actions of the core with the revision it shows. An action on an older revision is
refused: the window gets the newest program, sees what is new in it, and may do its step again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request
from jinja2 import pass_context
from jinja2.runtime import Context
from pydantic_core import from_json as parse_json
from starlette.responses import Response

from server.ladder.actions import Action, Together, edit, parse_action
from server.ladder.actions.base import Selection
from server.ladder.actions.copies import PasteRungs
from server.ladder.actions.rungs import SetNetwork, SetRung
from server.ladder.durations import parse_duration
from server.ladder.elements import BLOCK_TYPES, BlockType
from server.ladder.json_form import from_json, to_json
from server.ladder.messages import Message, Place, ProgramError, error
from server.ladder.program import Program, Variable
from server.ladder.text_form import parse_rung, parse_rungs
from server.ladder.text_printer import print_initial
from server.marking.exercise import RequirementKind
from server.store.database import Database, Document
from server.store.programs import Stale, WorkingCopy, save_program, state_before, working_copy
from server.store.programs import redo as step_forth
from server.store.programs import undo as step_back
from server.store.sittings import sits_at
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import DatabaseHere, Now, Reading
from server.web.editor.commands import GROUPS
from server.web.editor.effects import effect_of, new_remarks, step_effect
from server.web.editor.rungs import changes_between, remark, rung_views
from server.web.editor.sheets import EditorSheet, Sheets, SheetsHere, sheet_of
from server.web.rendering import environment, fragment
from server.web.workplace import Workplace, WorkplaceHere

router = APIRouter()

PLACES = (
    ("after", "after what is selected, in series"),
    ("before", "before what is selected, in series"),
    ("parallel", "in parallel with what is selected"),
)
ON_BENCH = ("rung-below", "text", "comment", "about")

TYPES = (
    ("BOOL", "internal bit"),
    ("INT", "whole number"),
    ("TIME", "duration"),
    ("WORD", "16 bits"),
    *((block.name, block.meaning) for block in BLOCK_TYPES.values()),
)
"""What a variable can be, with its meaning."""


def editor_context(here: Workplace, copy: WorkingCopy, sheet: EditorSheet) -> dict[str, Any]:
    """Return what the editor's part of the exercise sheet needs."""
    commands = [command for group in GROUPS for command in group.commands]
    return _shown(here, copy, sheet) | {
        "groups": GROUPS,
        "bench": [command for command in commands if command.id in ON_BENCH],
        "places": PLACES,
        "blocks": BLOCK_TYPES.values(),
        "types": TYPES,
    }


@dataclass(frozen=True, slots=True)
class EditorContext:
    """Where one person works on one assignment."""

    here: Workplace
    visitor: Visitor
    sheets: Sheets

    def sheet(self, copy: WorkingCopy) -> EditorSheet:
        return self.sheets.find(self.here, self.visitor.id, copy)

    def keep(self, copy: WorkingCopy, sheet: EditorSheet) -> None:
        self.sheets.keep(self.here, self.visitor.id, copy, sheet)


async def editor(here: WorkplaceHere, visitor: VisitorHere, sheets: SheetsHere) -> EditorContext:
    return EditorContext(here, visitor, sheets)


EditorHere = Annotated[EditorContext, Depends(editor)]


@router.post("/assignments/{assignment_id}/program")
def edit_program(
    request: Request,
    editor: EditorHere,
    database: DatabaseHere,
    now: Now,
    action: Annotated[str, Form()],
    revision: Annotated[int, Form()],
    resent: Annotated[bool, Form()] = False,
) -> Response:
    """Do one action, or refuse it with the reason: all of it is stored, or nothing.

    ``resent`` says that the browser had no answer to this action and sends it once more.
    """
    here, visitor = editor.here, editor.visitor
    # Writers wait for each other, so that only the saving itself is one unit of work.
    with database.read() as session:
        copy = working_copy(session, here.assignment, visitor.id, here.start)
        previous = state_before(session, here.assignment, visitor.id) if resent else None
        sits = sits_at(session, here.assignment, visitor.id)
    if copy.revision != revision:
        done = None
        if previous is not None and copy.revision == revision + 1:
            done = _done(request, editor, previous, copy, action)
        return done or _newest(request, editor, copy)
    before = editor.sheet(copy)
    try:
        asked = _read(action)
        if sits:
            _demand_one_rung(asked)
        edited = edit(before.program, asked)
    except ProgramError as refused:
        return _refused(request, refused.messages)
    if edited.program == before.program:
        return _answer(request, editor, copy, before, before, edited.selection)
    with database.write() as session:
        saved = save_program(
            session,
            here.assignment,
            visitor.id,
            to_json(edited.program),
            revision=revision,
            start=here.start,
            now=now,
        )
    if isinstance(saved, Stale):
        return _newest(request, editor, saved.current)
    after = sheet_of(edited.program, here.exercise, before)
    editor.keep(saved, after)
    effect = effect_of(asked, before.program, edited)
    return _answer(request, editor, saved, before, after, edited.selection, effect)


@router.post("/assignments/{assignment_id}/program/undo")
def undo(
    request: Request,
    editor: EditorHere,
    database: DatabaseHere,
    now: Now,
    revision: Annotated[int, Form()],
) -> Response:
    """Take one step back."""
    return _moved(request, editor, database, revision, now, step_back, "Undone")


@router.post("/assignments/{assignment_id}/program/redo")
def redo(
    request: Request,
    editor: EditorHere,
    database: DatabaseHere,
    now: Now,
    revision: Annotated[int, Form()],
) -> Response:
    """Redo one undone step."""
    return _moved(request, editor, database, revision, now, step_forth, "Redone")


@router.post("/assignments/{assignment_id}/program/preview")
def preview(
    request: Request,
    editor: EditorHere,
    session: Reading,
    text: Annotated[str, Form()] = "",
) -> Response:
    """Draw a rung's text; nothing is stored."""
    copy = working_copy(session, editor.here.assignment, editor.visitor.id, editor.here.start)
    variables = editor.sheet(copy).program.variables
    try:
        (view,) = rung_views(Program("preview", variables, (parse_rung(text, variables),)))
    except ProgramError as refused:
        return fragment(request, "editor/_messages.html", messages=refused.messages)
    return fragment(request, "editor/_preview.html", view=view)


def _done(
    request: Request, editor: EditorContext, previous: Document, copy: WorkingCopy, action: str
) -> Response | None:
    """Return the answer to an action that was done before its sender was cut off.

    None if it was not.
    """
    before, after = sheet_of(from_json(previous), editor.here.exercise), editor.sheet(copy)
    try:
        edited = edit(before.program, _read(action))
    except ProgramError:
        return None
    if edited.program != after.program:
        return None
    return _answer(request, editor, copy, before, after, edited.selection)


def _moved(
    request: Request,
    editor: EditorContext,
    database: Database,
    revision: int,
    now: datetime,
    step: Callable[..., WorkingCopy | Stale | None],
    word: str,
) -> Response:
    assignment, user_id, start = editor.here.assignment, editor.visitor.id, editor.here.start
    with database.write() as session:
        before = working_copy(session, assignment, user_id, start)
        moved = step(session, assignment, user_id, revision=revision, now=now)
    if isinstance(moved, Stale):
        return _newest(request, editor, moved.current)
    if moved is None:
        return Response(status_code=204)
    # The sheet of the state before is read first: there is one for each person.
    old, new = editor.sheet(before), editor.sheet(moved)
    selection = _first_difference(old.program, new.program)
    return _answer(request, editor, moved, old, new, selection, step_effect(word, selection))


def _first_difference(before: Program, after: Program) -> Selection:
    """Return where a step back or forth is seen."""
    for number, (old, new) in enumerate(zip(before.rungs, after.rungs, strict=False)):
        if old != new:
            return Selection(rung=number)
    if len(before.rungs) != len(after.rungs):
        return Selection(rung=min(len(before.rungs), len(after.rungs)))
    return Selection()


def _answer(
    request: Request,
    editor: EditorContext,
    copy: WorkingCopy,
    before: EditorSheet,
    after: EditorSheet,
    selection: Selection,
    effect: str = "",
) -> Response:
    return fragment(
        request,
        "editor/_changes.html",
        changes=changes_between(before.rungs, after.rungs, before.program, after.program),
        declarations_changed=before.program.variables != after.program.variables,
        select=_selection_words(selection),
        effect=f"{effect} {new_remarks(before.rungs, after.rungs)}".strip(),
        **_shown(editor.here, copy, after),
    )


def _newest(request: Request, editor: EditorContext, copy: WorkingCopy) -> Response:
    """Show the newest state to who acted on an older one, and let the person choose."""
    return fragment(
        request,
        "editor/_stale.html",
        409,
        declarations_changed=True,
        select="",
        stale=True,
        **_shown(editor.here, copy, editor.sheet(copy)),
    )


def _refused(request: Request, messages: tuple[Message, ...]) -> Response:
    return fragment(request, "editor/_messages.html", 422, messages=messages)


def _shown(here: Workplace, copy: WorkingCopy, sheet: EditorSheet) -> dict[str, Any]:
    served = {number for rung in sheet.program.rungs for number in rung.serves}
    return {
        "assignment": here.assignment,
        "exercise": here.exercise,
        "copy": copy,
        "rungs": sheet.rungs,
        "variables": sheet.program.variables,
        "general": [remark(message) for message in sheet.general],
        "unserved": [
            requirement.id
            for requirement in here.exercise.requirements
            if requirement.kind is RequirementKind.STATED and requirement.id not in served
        ],
    }


def _selection_words(selection: Selection) -> str:
    """Return a place in the words of static/editor/selection.js: ``2 path 1.0.0``."""
    if selection.rung is None:
        return ""
    if selection.path is not None:
        return f"{selection.rung} path {'.'.join(map(str, selection.path))}"
    if selection.output is not None:
        return f"{selection.rung} output {selection.output}"
    return f"{selection.rung} "


def _read(text: str) -> Action:
    """Return the action that a browser sent. Raises ProgramError."""
    try:
        data = parse_json(text)
    except ValueError:
        data = None
    if not isinstance(data, dict):
        raise ProgramError(
            [error("json", Place(), "The action can't be read.", "Reload the page and try again.")]
        )
    return parse_action(_with_literals(data))


def _demand_one_rung(action: Action) -> None:
    """Refuse text of more than one rung: in a supervised lab no program is pasted."""
    if _rungs_of_text(action) > 1:
        text = "In a supervised lab the text of one rung is taken at a time."
        raise ProgramError([error("lab", Place(), text, "Enter the rungs one after another.")])


def _rungs_of_text(action: Action) -> int:
    match action:
        case Together(actions):
            return sum(map(_rungs_of_text, actions))
        case PasteRungs(text=text):
            return len(parse_rungs(text))
        case SetRung() | SetNetwork():
            return 1
    return 0


def _with_literals(action: dict[str, Any]) -> dict[str, Any]:
    """Return the same action with the initial value of a declaration as a number.

    A person types it as a literal of the variable's type: TRUE, 5, T#2s.
    """
    match action:
        case {"actions": [*actions]}:
            inner = [_with_literals(each) if isinstance(each, dict) else each for each in actions]
            return action | {"actions": inner}
        case {"variable": {"initial": str(literal), "type": str(kind), **others}}:
            variable = others | {"type": kind, "initial": _initial(literal.strip(), kind)}
            return action | {"variable": variable}
    return action


def _initial(literal: str, kind: str) -> int | None:
    if not literal:
        return None
    try:
        match kind:
            case "BOOL":
                return {"FALSE": 0, "TRUE": 1, "0": 0, "1": 1}[literal.upper()]
            case "TIME":
                return parse_duration(literal)
            case "WORD" if literal.upper().startswith("16#"):
                return int(literal[3:].replace("_", ""), 16) if len(literal) < 12 else 10**12
            case _:
                return int(literal) if len(literal) < 12 else 10**12
    except (KeyError, ValueError):
        examples = {
            "BOOL": "TRUE or FALSE",
            "TIME": "a duration like T#2s",
            "WORD": "bits like 16#00FF",
        }
        example = examples.get(kind, "a number")
        raise ProgramError(
            [
                error(
                    "type",
                    Place(),
                    "The initial value does not fit the type.",
                    f"Write {example}, or leave it empty.",
                )
            ]
        ) from None


@pass_context
def clock(context: Context, moment: datetime) -> str:
    """Return the time of day to the second, as the status of saving shows it."""
    return f"{moment.astimezone(context['zone']):%H:%M:%S}"


def initial(variable: Variable) -> str:
    """Return the initial value as a literal, empty for the default."""
    return "" if variable.initial is None else print_initial(variable)


def inputs(block: BlockType) -> str:
    """Return the inputs that a new block must have, as text to fill in."""
    examples = {"TIME": "T#1s", "INT": "1", "BOOL": ""}
    return ", ".join(f"{pin.name} := {examples[pin.type]}" for pin in block.inputs if pin.required)


environment.filters |= {"clock": clock, "initial": initial, "inputs": inputs}
