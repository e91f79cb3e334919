"""What an instructor agrees with one student: accommodations, an incomplete, a withdrawal."""

from datetime import date, datetime, time
from enum import StrEnum
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from server.store import student_changes
from server.store.allowances import MAX_NOTE
from server.store.student_changes import Profile
from server.web.access import VisitorHere, ZoneHere
from server.web.assignments.policy import read_moment
from server.web.dependencies import Now, Writing
from server.web.gradebook.student_work import show_standing
from server.web.open_sockets import RECHECK

router = APIRouter()

Moment = Annotated[str, Form(max_length=40)]
Number = Annotated[str, Form(max_length=10)]

MOST_TIME, MOST_DAYS, MOST_ATTEMPTS = 4.0, 60, 20


class EnrolmentState(StrEnum):
    """What the form asks for."""

    ENROLLED = "enrolled"
    WITHDRAWN = "withdrawn"
    INCOMPLETE = "incomplete"
    COMPLETED = "completed"


@router.post("/sections/{section_id}/students/{student_id}/enrollment", dependencies=[RECHECK])
def change_enrolment(
    request: Request,
    section_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    state: Annotated[EnrolmentState, Form()] = EnrolmentState.ENROLLED,
    until: Moment = "",
) -> Response:
    """Let a student be withdrawn or incomplete, or take that back; their work is kept."""
    by_id = visitor.id
    if state is EnrolmentState.WITHDRAWN:
        student_changes.withdraw_student(session, section_id, student_id, by_id=by_id, now=now)
    elif state is EnrolmentState.INCOMPLETE:
        moment = read_moment(until, zone)
        if not isinstance(moment, str) and moment <= now:
            moment = "This date is over. Choose a later one."
        if isinstance(moment, str):
            typed = {"until": until}
            return show_standing(
                request, session, section_id, student_id, now, visitor, moment, typed
            )
        student_changes.set_incomplete(
            session, section_id, student_id, moment, by_id=by_id, now=now
        )
    elif state is EnrolmentState.COMPLETED:
        student_changes.complete_student(session, section_id, student_id, by_id=by_id, now=now)
    else:
        student_changes.enroll_again(session, section_id, student_id, by_id=by_id, now=now)
    return _back(section_id, student_id, "enrollment")


@router.post("/sections/{section_id}/students/{student_id}/owed")
def change_owed(
    request: Request,
    section_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    since: Moment = "",
) -> Response:
    """Say from when on a student owes what opens."""
    moment = read_moment(since, zone) if since.strip() else None
    if isinstance(moment, str):
        typed = {"since": since}
        return show_standing(request, session, section_id, student_id, now, visitor, moment, typed)
    student_changes.set_owes_from(
        session, section_id, student_id, moment, by_id=visitor.id, now=now
    )
    return _back(section_id, student_id, "enrollment")


@router.post("/sections/{section_id}/students/{student_id}/accommodations")
def add_accommodation(
    request: Request,
    section_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    zone: ZoneHere,
    now: Now,
    begins: Moment = "",
    ends: Moment = "",
    factor: Number = "1",
    days: Number = "0",
    attempts: Number = "0",
    note: Annotated[str, Form(max_length=MAX_NOTE)] = "",
) -> Response:
    """Give a student a profile for what is due between two days, both included."""
    typed = {
        **{"begins": begins, "ends": ends, "factor": factor},
        **{"days": days, "attempts": attempts, "note": note},
    }
    profile = _profile(typed, zone)
    if isinstance(profile, str):
        return show_standing(request, session, section_id, student_id, now, visitor, profile, typed)
    student_changes.add_accommodation(
        session, section_id, student_id, profile, by_id=visitor.id, now=now
    )
    return _back(section_id, student_id, "accommodations")


@router.post("/sections/{section_id}/students/{student_id}/accommodations/remove")
def remove_accommodation(
    section_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    which: Annotated[int, Form()] = 0,
) -> Response:
    """Take a profile away."""
    student_changes.remove_accommodation(
        session, section_id, student_id, which, by_id=visitor.id, now=now
    )
    return _back(section_id, student_id, "accommodations")


def _profile(typed: dict[str, str], zone: ZoneInfo) -> Profile | str:
    """Return the profile that was typed, or one sentence that says what can't be."""
    try:
        first, last = date.fromisoformat(typed["begins"]), date.fromisoformat(typed["ends"])
        if not first <= last or first.year < 1970 or last.year > 9000:
            raise ValueError
    except ValueError:
        return "An accommodation needs a first and a last day, in this order. Write both."
    try:
        factor = float(typed["factor"].replace(",", "."))
        days, attempts = int(typed["days"]), int(typed["attempts"])
    except ValueError:
        return "The factor of time, days and attempts must be numbers. Correct them."
    if not (1 <= factor <= MOST_TIME and 0 <= days <= MOST_DAYS and 0 <= attempts <= MOST_ATTEMPTS):
        return (
            f"The factor of time is 1 to {MOST_TIME:g}, days 0 to {MOST_DAYS}, attempts 0 to "
            f"{MOST_ATTEMPTS}. Correct them."
        )
    if factor == 1 and not days and not attempts:
        return "This accommodation gives nothing. Write more time, days or attempts."
    if not typed["note"].strip():
        return "Say in a few words what the accommodation rests on; instructors read it."
    return Profile(
        factor,
        days,
        attempts,
        datetime.combine(first, time.min, zone),
        datetime.combine(last, time(23, 59, 59), zone),
        typed["note"].strip(),
    )


def _back(section_id: int, student_id: int, part: str) -> Response:
    return RedirectResponse(f"/sections/{section_id}/students/{student_id}#{part}", 303)
