"""Letting the students of a section see the hidden runs of a requirement, or hiding them again."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from server.store.hand_marks import find_result
from server.store.released_runs import release_run, withdraw_run
from server.store.submissions import find_submission
from server.web.access import VisitorHere
from server.web.dependencies import Now, Writing
from server.web.gradebook.pages import assignment_here
from server.web.rendering import error

router = APIRouter()


@router.post("/assignments/{assignment_id}/released-runs")
def change_released_runs(
    request: Request,
    assignment_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    requirement: Annotated[str, Form(max_length=20)] = "",
    submission: Annotated[int, Form()] = 0,
    hide: Annotated[bool, Form()] = False,
) -> Response:
    """Release a requirement that an attempt has a result of; then show that attempt again."""
    assignment = assignment_here(session, assignment_id)
    attempt = find_submission(session, submission)
    if (
        attempt is None
        or attempt.assignment_id != assignment_id
        or find_result(session, submission, requirement) is None
    ):
        return error(request, 422, f"This attempt has no result of {requirement or 'nothing'}.")
    change = withdraw_run if hide else release_run
    change(session, assignment, requirement, by_id=visitor.id, now=now)
    return RedirectResponse(f"/submissions/{submission}#{requirement}", 303)
