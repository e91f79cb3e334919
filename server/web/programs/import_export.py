"""A program handed on as a file, and one taken in: shown and compared first, then one step.

What is looked at is not stored; the page holds the program that would come in as text.
"""

from pathlib import PurePosixPath
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.ladder.json_form import from_json, to_json
from server.ladder.messages import Message, ProgramError
from server.ladder.program import Program
from server.ladder.program_file import read_program_file
from server.ladder.text_form import parse_program, print_program
from server.ladder.validation import validate
from server.ladder.xml_writer import write_xml
from server.store.programs import Stale, save_program, working_copy
from server.web.access import VisitorHere
from server.web.dependencies import DatabaseHere, Now, Reading
from server.web.editor.rungs import drawn_rungs
from server.web.programs.comparison import compared
from server.web.programs.states import NOW, State, state_here
from server.web.programs.versions import STALE, versions_page
from server.web.rendering import error, page
from server.web.workplace import Workplace, WorkplaceHere

router = APIRouter()

NO_FILE = "No file was chosen. Choose one that holds a program as text or XML."


@router.get("/assignments/{assignment_id}/program.st")
def program_as_text(
    here: WorkplaceHere, session: Reading, visitor: VisitorHere, state: str = NOW
) -> Response:
    """Show the text form."""
    found = state_here(session, here, visitor.id, state)
    return _file(found, "st", "text/plain; charset=utf-8", print_program(found.program))


@router.get("/assignments/{assignment_id}/program.xml")
def program_as_xml(
    here: WorkplaceHere, session: Reading, visitor: VisitorHere, state: str = NOW
) -> Response:
    """XML of IEC 61131-10."""
    found = state_here(session, here, visitor.id, state)
    return _file(found, "xml", "application/xml", write_xml(found.program))


def _file(state: State, ending: str, kind: str, content: str | bytes) -> Response:
    # A program's name is a symbol, so it needs no quoting.
    name = state.program.name + ("" if state.name.ref == NOW else f"-{state.name.ref}")
    disposition = f'attachment; filename="{name}.{ending}"'
    return Response(content, media_type=kind, headers={"Content-Disposition": disposition})


@router.post("/assignments/{assignment_id}/program/file")
def preview_import(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    visitor: VisitorHere,
    program: Annotated[UploadFile, File()],
) -> Response:
    """Show what a file would bring, or why it is refused and where; nothing is stored."""
    name = PurePosixPath(program.filename or "").name[:100]
    data = program.file.read()
    if not name and not data:
        return error(request, 422, NO_FILE)
    try:
        carried = read_program_file(name, data)
    except ProgramError as refused:
        return versions_page(
            request, session, here, visitor.id, 422, file=name, refused=refused.messages
        )
    return _preview(request, session, here, visitor.id, carried.program, name, carried.notes)


@router.post("/assignments/{assignment_id}/program/take-in")
def import_program(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    revision: Annotated[int, Form()],
    text: Annotated[str, Form()] = "",
    name: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """Let the program that was looked at be the new one, as one step that undo takes back."""
    try:
        program = parse_program(text)
    except ProgramError as refused:
        return versions_page(
            request, session, here, visitor.id, 422, file=name, refused=refused.messages
        )
    document, start = to_json(program), here.start
    with database.write() as writing:
        saved = save_program(
            writing, here.assignment, visitor.id, document, revision=revision, start=start, now=now
        )
    if isinstance(saved, Stale):
        return _preview(request, session, here, visitor.id, program, name, (), 409, stale=STALE)
    return RedirectResponse(f"/assignments/{here.assignment.id}#program", 303)


def _preview(
    request: Request,
    session: Session,
    here: Workplace,
    user_id: int,
    program: Program,
    name: str,
    notes: tuple[Message, ...],
    status: int = 200,
    stale: str = "",
) -> Response:
    copy = working_copy(session, here.assignment, user_id, here.start)
    messages = validate(program, here.exercise.points)
    return page(
        request,
        "programs/import.html",
        status,
        assignment=here.assignment,
        copy=copy,
        file=name,
        program=program,
        text=print_program(program),
        notes=notes,
        messages=messages,
        compared=compared(from_json(copy.program), program),
        rungs=drawn_rungs(program),
        stale=stale,
    )
