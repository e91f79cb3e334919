"""The rung editor: actions on the working program, answered with what they changed on the page.

The browser sends actions of the core with the revision it shows. An action on an older revision is
refused: the window gets the newest program, sees what is new in it, and may do its step again.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from pydantic_core import from_json as parse_json
from starlette.responses import Response

from server.ladder.actions import Action, parse_action
from server.ladder.durations import parse_duration
from server.ladder.edited import Selection
from server.ladder.editing import edit
from server.ladder.elements import BLOCK_TYPES, BlockType
from server.ladder.json_form import from_json, to_json
from server.ladder.messages import Message, Place, ProgramError, error
from server.ladder.program import Program, Variable
from server.ladder.text_form import parse_rung
from server.ladder.text_printer import print_initial
from server.ladder.validation import validate
from server.marking.exercise import Exercise, RequirementKind
from server.store.programs import Stale, WorkingCopy, save_program, working_copy
from server.store.programs import redo as step_forth
from server.store.programs import undo as step_back
from server.web.access import VisitorHere
from server.web.commands import GROUPS
from server.web.dependencies import Now, Reading, Writing
from server.web.rendering import environment, fragment
from server.web.rungs import RungView, changes_between, remark, rung_views
from server.web.workplace import Workplace, WorkplaceHere

router = APIRouter()

PLACES = (
    ("after", "after what is selected, in series"),
    ("before", "before what is selected, in series"),
    ("parallel", "in parallel with what is selected"),
)
ON_BENCH = ("rung-below", "text", "comment")

TYPES = (
    ("BOOL", "internal bit"),
    ("INT", "whole number"),
    ("TIME", "duration"),
    *((block.name, block.meaning) for block in BLOCK_TYPES.values()),
)
"""What a variable can be, with its meaning."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A program with everything that the page shows of it."""

    program: Program
    rungs: tuple[RungView, ...]
    general: tuple[Message, ...]


def sheet_of(program: Program, exercise: Exercise) -> Sheet:
    messages = validate(program, exercise.points)
    general = tuple(message for message in messages if message.place.rung is None)
    return Sheet(program, tuple(rung_views(program, messages)), general)


def editor_context(here: Workplace, copy: WorkingCopy) -> dict[str, Any]:
    """What the editor's part of the exercise sheet needs."""
    sheet = sheet_of(from_json(copy.program), here.exercise)
    commands = [command for group in GROUPS for command in group.commands]
    return _shown(here, copy, sheet) | {
        "groups": GROUPS,
        "bench": [command for command in commands if command.id in ON_BENCH],
        "places": PLACES,
        "blocks": BLOCK_TYPES.values(),
        "types": TYPES,
    }


@router.post("/assignments/{assignment_id}/program")
def edit_program(
    request: Request,
    here: WorkplaceHere,
    visitor: VisitorHere,
    session: Writing,
    now: Now,
    action: Annotated[str, Form()],
    revision: Annotated[int, Form()],
) -> Response:
    """Do one action, or refuse it with the reason; what is stored is a whole program or the old."""
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    if copy.revision != revision:
        return _newest(request, here, copy)
    before = from_json(copy.program)
    try:
        edited = edit(before, _read(action))
    except ProgramError as refused:
        return _refused(request, refused.messages)
    if edited.program == before:
        return _answer(request, here, copy, before, before, edited.selection)
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
        return _newest(request, here, saved.current)
    return _answer(request, here, saved, before, edited.program, edited.selection)


@router.post("/assignments/{assignment_id}/program/undo")
def undo(
    request: Request,
    here: WorkplaceHere,
    visitor: VisitorHere,
    session: Writing,
    now: Now,
    revision: Annotated[int, Form()],
) -> Response:
    """One step back."""
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    moved = step_back(session, here.assignment, visitor.id, revision=revision, now=now)
    return _moved(request, here, copy, moved)


@router.post("/assignments/{assignment_id}/program/redo")
def redo(
    request: Request,
    here: WorkplaceHere,
    visitor: VisitorHere,
    session: Writing,
    now: Now,
    revision: Annotated[int, Form()],
) -> Response:
    """One undone step forth again."""
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    moved = step_forth(session, here.assignment, visitor.id, revision=revision, now=now)
    return _moved(request, here, copy, moved)


@router.post("/assignments/{assignment_id}/program/preview")
def preview(
    request: Request,
    here: WorkplaceHere,
    visitor: VisitorHere,
    session: Reading,
    text: Annotated[str, Form()] = "",
) -> Response:
    """A rung's text as it would be drawn; nothing is stored."""
    copy = working_copy(session, here.assignment, visitor.id, here.start)
    variables = from_json(copy.program).variables
    try:
        (view,) = rung_views(Program("preview", variables, (parse_rung(text),)))
    except ProgramError as refused:
        return fragment(request, "editor/_messages.html", messages=refused.messages)
    return fragment(request, "editor/_preview.html", view=view)


def _moved(
    request: Request,
    here: Workplace,
    copy: WorkingCopy,
    moved: WorkingCopy | Stale | None,
) -> Response:
    if isinstance(moved, Stale):
        return _newest(request, here, moved.current)
    if moved is None:
        return Response(status_code=204)
    before, after = from_json(copy.program), from_json(moved.program)
    return _answer(request, here, moved, before, after, _first_difference(before, after))


def _first_difference(before: Program, after: Program) -> Selection:
    """Where a step back or forth is seen."""
    for number, (old, new) in enumerate(zip(before.rungs, after.rungs, strict=False)):
        if old != new:
            return Selection(rung=number)
    if len(before.rungs) != len(after.rungs):
        return Selection(rung=min(len(before.rungs), len(after.rungs)))
    return Selection()


def _answer(
    request: Request,
    here: Workplace,
    copy: WorkingCopy,
    before: Program,
    after: Program,
    selection: Selection,
) -> Response:
    old, new = sheet_of(before, here.exercise), sheet_of(after, here.exercise)
    return fragment(
        request,
        "editor/_changes.html",
        changes=changes_between(old.rungs, new.rungs, before, after),
        declarations_changed=before.variables != after.variables,
        select=_spelt(selection),
        **_shown(here, copy, new),
    )


def _newest(request: Request, here: Workplace, copy: WorkingCopy) -> Response:
    """The action came from an older state: show the newest, and let the person choose."""
    sheet = sheet_of(from_json(copy.program), here.exercise)
    return fragment(
        request,
        "editor/_stale.html",
        409,
        declarations_changed=True,
        select="",
        stale=True,
        **_shown(here, copy, sheet),
    )


def _refused(request: Request, messages: tuple[Message, ...]) -> Response:
    return fragment(request, "editor/_messages.html", 422, messages=messages)


def _shown(here: Workplace, copy: WorkingCopy, sheet: Sheet) -> dict[str, Any]:
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


def _spelt(selection: Selection) -> str:
    """A place in the words of static/editor/selection.js: ``2 path 1.0.0``."""
    if selection.rung is None:
        return ""
    if selection.path is not None:
        return f"{selection.rung} path {'.'.join(map(str, selection.path))}"
    if selection.output is not None:
        return f"{selection.rung} output {selection.output}"
    return f"{selection.rung} "


def _read(text: str) -> Action:
    """The action that a browser sent. Raises ProgramError."""
    try:
        data = parse_json(text)
    except ValueError:
        data = None
    if not isinstance(data, dict):
        raise ProgramError(
            [error("json", Place(), "The action can't be read.", "Reload the page and try again.")]
        )
    return parse_action(_with_literals(data))


def _with_literals(action: dict[str, Any]) -> dict[str, Any]:
    """The same action with the initial value of a declaration as a number.

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
            case _:
                return int(literal) if len(literal) < 12 else 10**12
    except (KeyError, ValueError):
        example = {"BOOL": "TRUE or FALSE", "TIME": "a duration like T#2s"}.get(kind, "a number")
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


def clock(moment: datetime) -> str:
    """The time of day to the second, as the status of saving shows it."""
    return f"{moment.astimezone():%H:%M:%S}"


def initial(variable: Variable) -> str:
    """The initial value as a literal, empty for the default."""
    return "" if variable.initial is None else print_initial(variable)


def inputs(block: BlockType) -> str:
    """The inputs that a new block must have, as text to fill in."""
    examples = {"TIME": "T#1s", "INT": "1", "BOOL": ""}
    return ", ".join(f"{pin.name} := {examples[pin.type]}" for pin in block.inputs if pin.required)


environment.filters |= {"clock": clock, "initial": initial, "inputs": inputs}
