"""What an instructor does in a supervised lab: a new pass-code, more minutes for one student."""

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from server.store.lti_outbox import queue_scores
from server.store.sittings import new_pass_code, sitting_of
from server.store.supervised_labs import give_minutes
from server.web.access import VisitorHere
from server.web.dependencies import Now, Writing
from server.web.gradebook.pages import assignment_here
from server.web.rendering import error

router = APIRouter()

MORE_MINUTES = 5
ELSEWHERE = (
    "This student sits at another supervised lab right now, so no time was given. "
    "Give it when that sitting is over."
)


@router.post("/assignments/{assignment_id}/pass-code")
def renew_pass_code(
    assignment_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Make a new pass-code; the one before no longer begins a sitting."""
    assignment = assignment_here(session, assignment_id)
    if not assignment.is_supervised:
        raise HTTPException(404)
    new_pass_code(session, assignment, by_id=visitor.id, now=now)
    return RedirectResponse(f"/sections/{assignment.section_id}/lab", 303)


@router.post("/assignments/{assignment_id}/sittings/{student_id}/minutes")
def give_sitting_minutes(
    request: Request,
    assignment_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
) -> Response:
    """Let a student sit a few minutes longer."""
    assignment = assignment_here(session, assignment_id)
    sitting = sitting_of(session, assignment_id, student_id)
    if sitting is None or not assignment.is_supervised:
        raise HTTPException(404)
    if not give_minutes(session, assignment, sitting, MORE_MINUTES, by_id=visitor.id, now=now):
        return error(request, 409, ELSEWHERE)
    queue_scores(session, assignment, [student_id], now)
    return RedirectResponse(f"/sections/{assignment.section_id}/lab", 303)
