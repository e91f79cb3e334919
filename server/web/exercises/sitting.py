"""The door of a supervised lab: pass-code and seat, the time that is left, the end of a sitting."""

from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from server.jobs.sitting_closer import close_sittings
from server.store.allowances import allowance_of
from server.store.courses import find_assignment
from server.store.database import Database
from server.store.sittings import MAX_SEAT, Sitting, seconds_left, sitting_now, sitting_of
from server.store.submissions import attempts_of
from server.store.supervised_labs import (
    Wait,
    begin_sitting,
    end_sitting,
    note_sign_of_life,
    sign_is_due,
)
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import DatabaseHere, Now, WorkerHere
from server.web.rendering import page

router = APIRouter()


@router.get("/assignments/{assignment_id}/sitting")
def sitting_page(
    request: Request,
    assignment_id: int,
    visitor: VisitorHere,
    database: DatabaseHere,
    worker: WorkerHere,
    now: Now,
) -> Response:
    """Show how to begin, how long there is to go, or what came of the sitting."""
    with database.read() as session:
        sitting = sitting_of(session, assignment_id, visitor.id)
    if sitting is not None and not sitting.closed and now >= sitting.ends_at:
        close_sittings(database, worker, now)
    return _door(request, database, assignment_id, visitor, now)


@router.post("/assignments/{assignment_id}/sitting")
def take_seat(
    request: Request,
    assignment_id: int,
    visitor: VisitorHere,
    database: DatabaseHere,
    now: Now,
    code: Annotated[str, Form(max_length=40)] = "",
    seat: Annotated[str, Form(max_length=MAX_SEAT)] = "",
) -> Response:
    """Begin the visitor's sitting in this browser, or let it go on here."""
    with database.write() as session:
        taken = begin_sitting(
            session, assignment_id, visitor.id, visitor.session_hash, code, seat, now
        )
    if isinstance(taken, Sitting):
        return RedirectResponse(f"/assignments/{assignment_id}", 303)
    if isinstance(taken, Wait):
        seconds = max(1, round(taken.left.total_seconds()))
        wait = f"That was wrong too often. Wait {seconds} s, then type the pass-code again."
        return _door(request, database, assignment_id, visitor, now, 429, wait, seat)
    return _door(request, database, assignment_id, visitor, now, 422, taken.value, seat)


@router.get("/assignments/{assignment_id}/sitting/time")
def sitting_time(
    assignment_id: int, visitor: VisitorHere, database: DatabaseHere, now: Now
) -> Response:
    """Tell the page how many seconds there are, and note that its browser was heard of."""
    with database.read() as session:
        sitting = sitting_of(session, assignment_id, visitor.id)
    if sitting is None:
        raise HTTPException(404)
    if sign_is_due(sitting, now):
        with database.write() as session:
            note_sign_of_life(session, assignment_id, visitor.id, now)
    return JSONResponse({"seconds": seconds_left(sitting, now)})


@router.post("/assignments/{assignment_id}/sitting/end")
def leave_lab(
    assignment_id: int, visitor: VisitorHere, database: DatabaseHere, worker: WorkerHere, now: Now
) -> Response:
    """End the visitor's sitting before its time."""
    with database.write() as session:
        assignment = find_assignment(session, assignment_id)
        assert assignment is not None, "the access rule has found it"
        if sitting_of(session, assignment_id, visitor.id) is None:
            raise HTTPException(404)
        end_sitting(session, assignment, visitor.id, now)
    close_sittings(database, worker, now)
    return RedirectResponse(f"/assignments/{assignment_id}/sitting", 303)


def _door(
    request: Request,
    database: Database,
    assignment_id: int,
    visitor: Visitor,
    now: Now,
    status: int = 200,
    mistake: str = "",
    seat: str = "",
) -> Response:
    with database.read() as session:
        assignment = find_assignment(session, assignment_id)
        assert assignment is not None, "the access rule has found it"
        sitting = sitting_of(session, assignment_id, visitor.id)
        allowance = allowance_of(session, assignment, visitor.id)
        anywhere = sitting_now(session, visitor.id, now)
        attempts = attempts_of(session, assignment, visitor.id)
    in_it = sitting is not None and now < sitting.ends_at
    here = sitting is not None and sitting.session_hash == visitor.session_hash
    return page(
        request,
        "exercises/sitting.html",
        status,
        assignment=assignment,
        allowance=allowance,
        minutes=round((assignment.sitting_minutes or 0) * allowance.time_factor),
        sitting=sitting,
        goes_on=in_it and here,
        goes_on_elsewhere=in_it and not here,
        elsewhere=anywhere is not None and anywhere.assignment_id != assignment_id,
        attempts=attempts,
        mistake=mistake,
        seat=seat or (sitting.seat if sitting else ""),
        most=MAX_SEAT,
        now=now,
    )
