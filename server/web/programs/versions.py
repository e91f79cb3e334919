"""Versions and files of a program: kept under names, compared, brought back, handed on."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, HTTPException, Query, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.ladder.json_form import to_json
from server.store.programs import Stale, save_program, steps_of, working_copy
from server.store.submissions import attempts_of, find_submission
from server.store.versions import (
    MAX_NAME,
    NotNamed,
    name_version,
    remove_version,
)
from server.web.access import VisitorHere
from server.web.dependencies import (
    CatalogueHere,
    DatabaseHere,
    Now,
    Reading,
    Writing,
    release_connection,
)
from server.web.one_look import OneLook
from server.web.programs.comparison import compared
from server.web.programs.states import NOW, find_state, start_of, state_names, state_of, step_name
from server.web.rendering import page
from server.web.workplace import Workplace, WorkplaceHere, exercise_of

router = APIRouter()

STALE = (
    "The program was changed in another window since you opened this page, so nothing was done. "
    "Below it is compared with the newest state; look again."
)


@router.get("/assignments/{assignment_id}/versions")
def versions(
    request: Request, here: WorkplaceHere, session: Reading, visitor: VisitorHere
) -> Response:
    """Show the program now, its versions and attempts, and the way in and out for files."""
    return versions_page(request, session, here, visitor.id)


@router.post("/assignments/{assignment_id}/versions")
def keep_version(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=MAX_NAME)] = "",
) -> Response:
    """Keep the program as it is now under a name."""
    start = here.start
    with database.write() as writing:
        copy = working_copy(writing, here.assignment, visitor.id, start)
        kept = name_version(writing, here.assignment, visitor.id, name, copy.program, now)
    if isinstance(kept, NotNamed):
        return versions_page(request, session, here, visitor.id, 422, mistake=kept.value, name=name)
    return _back(here, "versions#versions")


@router.post("/assignments/{assignment_id}/versions/{version_id}/forget")
def delete_version(
    here: WorkplaceHere, version_id: int, session: Writing, visitor: VisitorHere
) -> Response:
    """Delete a version for good."""
    remove_version(session, here.assignment, visitor.id, version_id)
    return _back(here, "versions#versions")


@router.get("/assignments/{assignment_id}/comparison", dependencies=[OneLook])
def compare_states(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    visitor: VisitorHere,
    before: str = "start",
    after: str = NOW,
) -> Response:
    """Show what changed from one state to another, drawn."""
    return _comparison(request, session, here, visitor.id, before, after)


@router.get("/submissions/{submission_id}/comparison", dependencies=[OneLook])
def compare_attempts(
    request: Request,
    submission_id: int,
    session: Reading,
    catalogue: CatalogueHere,
    before: Annotated[int | None, Query(ge=0)] = None,
) -> Response:
    """Show what changed from an earlier attempt, the one before if none is named.

    Before the first one, by the number 0, is what the exercise gives.
    """
    submission = find_submission(session, submission_id)
    assert submission is not None, "the access rule has found it"
    wanted = submission.attempt - 1 if before is None else before
    attempts = attempts_of(session, submission.assignment, submission.user_id)
    old = {attempt.attempt: state_of(attempt) for attempt in attempts}.get(wanted)
    if wanted == 0:
        old = start_of(exercise_of(catalogue, submission.assignment, submission.seed))
    if old is None:
        raise HTTPException(404)
    new = state_of(submission)
    return page(
        request,
        "programs/comparison.html",
        assignment=submission.assignment,
        submission=submission,
        name=submission.user.name,
        copy=None,
        before=old,
        after=new,
        compared=compared(old.program, new.program),
        states=[],
        stale="",
    )


@router.post("/assignments/{assignment_id}/program/bring-back")
def restore_version(
    request: Request,
    here: WorkplaceHere,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    revision: Annotated[int, Form()],
    state: Annotated[str, Form(max_length=40)],
) -> Response:
    """Let an earlier state be the program again, as one step that undo takes back."""
    start = here.start
    copy = working_copy(session, here.assignment, visitor.id, start)
    program = to_json(find_state(session, here, visitor.id, copy, state).program)
    release_connection(session)
    with database.write() as writing:
        saved = save_program(
            writing, here.assignment, visitor.id, program, revision=revision, start=start, now=now
        )
    if isinstance(saved, Stale):
        return _comparison(request, session, here, visitor.id, state, NOW, 409, stale=STALE)
    return RedirectResponse(f"/assignments/{here.assignment.id}#program", 303)


def versions_page(
    request: Request,
    session: Session,
    here: Workplace,
    user_id: int,
    status: int = 200,
    **context: Any,
) -> Response:
    """Return the page, with what was refused of a name or a file."""
    copy = working_copy(session, here.assignment, user_id, here.start)
    now, *states = state_names(session, here, user_id, copy)
    return page(
        request,
        "programs/versions.html",
        status,
        **{
            "mistake": "",
            "name": "",
            "file": "",
            "refused": (),
            "assignment": here.assignment,
            "copy": copy,
            "now": now,
            "states": states,
            "steps": [step_name(*step) for step in steps_of(session, here.assignment, user_id)],
            "most": MAX_NAME,
        }
        | context,
    )


def _comparison(
    request: Request,
    session: Session,
    here: Workplace,
    user_id: int,
    before: str,
    after: str,
    status: int = 200,
    stale: str = "",
) -> Response:
    copy = working_copy(session, here.assignment, user_id, here.start)
    old = find_state(session, here, user_id, copy, before)
    new = find_state(session, here, user_id, copy, after)
    return page(
        request,
        "programs/comparison.html",
        status,
        assignment=here.assignment,
        submission=None,
        name=request.state.visitor.name,
        copy=copy,
        before=old,
        after=new,
        compared=compared(old.program, new.program),
        states=list(state_names(session, here, user_id, copy)),
        stale=stale,
    )


def _back(here: Workplace, where: str) -> Response:
    return RedirectResponse(f"/assignments/{here.assignment.id}/{where}", 303)
