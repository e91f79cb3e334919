"""One student's work: at an assignment for who teaches it, over a section for themselves too."""

from collections.abc import Mapping
from math import inf
from typing import Annotated

from fastapi import APIRouter, Form, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import corrections
from server.store.allowances import accommodations_of, allowance_of
from server.store.assignment_policy import extension_of
from server.store.audit_lines import events_of
from server.store.courses import (
    Assignment,
    SectionRole,
    assignments_of,
    find_enrolment,
    partner_of,
    role_in_section,
)
from server.store.gradebook import share_of, standings_of
from server.store.lti_outbox import queue_scores
from server.store.people import get_person
from server.store.submissions import attempts_of
from server.web.access import Visitor, VisitorHere
from server.web.assignments.policy import field
from server.web.dependencies import Now, Reading, Writing
from server.web.gradebook.pages import assignment_here, section_here
from server.web.gradebook.points import NO_REASON, read_points
from server.web.rendering import page

router = APIRouter()


@router.get("/assignments/{assignment_id}/students/{student_id}")
def student_work(
    request: Request, assignment_id: int, student_id: int, session: Reading, now: Now
) -> Response:
    return _work_page(request, session, assignment_id, student_id)


@router.post("/assignments/{assignment_id}/students/{student_id}/points")
def override(
    request: Request,
    assignment_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    points: Annotated[str, Form(max_length=20)] = "",
    reason: Annotated[str, Form(max_length=corrections.MAX_REASON)] = "",
) -> Response:
    """Let other points count than those that were marked."""
    assignment = assignment_here(session, assignment_id)
    number = read_points(points)
    most = most_points(session, assignment, student_id)
    # Beyond the maximum, the section's instructor says how much more is right.
    highest = inf if most is None or assignment.section.extra_credit else most
    if number is None or not 0 <= number <= highest:
        limit = f" to {most:g}" if highest == most else " upwards"
        sentence = f"{points or 'Nothing'} is not a number of points. Write one from 0{limit}."
        return _work_page(request, session, assignment_id, student_id, sentence, points, reason)
    if not reason.strip():
        return _work_page(request, session, assignment_id, student_id, NO_REASON, points, reason)
    corrections.set_points(
        session, assignment, student_id, number, reason.strip(), by_id=visitor.id, now=now
    )
    queue_scores(session, assignment, [student_id], now)
    return _back(assignment_id, student_id)


@router.post("/assignments/{assignment_id}/students/{student_id}/points/back")
def remove_override(
    assignment_id: int, student_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Let the marked points count again."""
    assignment = assignment_here(session, assignment_id)
    corrections.remove_override(session, assignment, student_id, by_id=visitor.id, now=now)
    queue_scores(session, assignment, [student_id], now)
    return _back(assignment_id, student_id)


@router.post("/assignments/{assignment_id}/students/{student_id}/excuse")
def excuse_student(
    request: Request,
    assignment_id: int,
    student_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    excuse: Annotated[str, Form(max_length=corrections.MAX_REASON)] = "",
) -> Response:
    """Let the exercise count nothing for one student."""
    assignment = assignment_here(session, assignment_id)
    if not excuse.strip():
        return _work_page(request, session, assignment_id, student_id, not_excused=NO_REASON)
    corrections.excuse(session, assignment, student_id, excuse.strip(), by_id=visitor.id, now=now)
    queue_scores(session, assignment, [student_id], now)
    return _back(assignment_id, student_id)


@router.post("/assignments/{assignment_id}/students/{student_id}/excuse/back")
def remove_excuse(
    assignment_id: int, student_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Let the exercise count for the student again."""
    assignment = assignment_here(session, assignment_id)
    corrections.remove_excuse(session, assignment, student_id, by_id=visitor.id, now=now)
    queue_scores(session, assignment, [student_id], now)
    return _back(assignment_id, student_id)


@router.get("/sections/{section_id}/standing")
def standing(
    request: Request, section_id: int, session: Reading, visitor: VisitorHere, now: Now
) -> Response:
    """Show a student's own standing in a section."""
    return show_standing(request, session, section_id, visitor.id, now, visitor)


@router.get("/sections/{section_id}/students/{student_id}")
def student_standing(
    request: Request,
    section_id: int,
    student_id: int,
    session: Reading,
    visitor: VisitorHere,
    now: Now,
) -> Response:
    """Show the same page for who teaches the section."""
    return show_standing(request, session, section_id, student_id, now, visitor)


def most_points(session: Session, assignment: Assignment, student_id: int) -> float | None:
    """Return the points of the exercise, as far as a verdict shows them."""
    return standings_of(session, student_id, [assignment.id])[assignment.id].max_score


def _work_page(
    request: Request,
    session: Session,
    assignment_id: int,
    student_id: int,
    mistake: str = "",
    points: str = "",
    reason: str = "",
    not_excused: str = "",
) -> Response:
    assignment = assignment_here(session, assignment_id)
    partner_id = partner_of(session, assignment, student_id)
    return page(
        request,
        "gradebook/student.html",
        422 if mistake or not_excused else 200,
        assignment=assignment,
        student=get_person(session, student_id),
        standing=standings_of(session, student_id, [assignment_id])[assignment_id],
        attempts=attempts_of(session, assignment, student_id),
        allowance=allowance_of(session, assignment, student_id),
        extension=extension_of(session, assignment_id, student_id),
        partner=get_person(session, partner_id) if partner_id else None,
        events=events_of(session, assignment.section_id, student_id, limit=20),
        mistake=mistake,
        not_excused=not_excused,
        points=points,
        reason=reason,
    )


def show_standing(
    request: Request,
    session: Session,
    section_id: int,
    student_id: int,
    now: Now,
    visitor: Visitor,
    mistake: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Show the page; its last parts, on what is agreed with the student, are for instructors."""
    own = student_id == visitor.id
    instructs = role_in_section(session, visitor.id, section_id) is SectionRole.INSTRUCTOR
    enrolment = find_enrolment(session, section_id, student_id)
    assert enrolment is not None, "the access rule has found it"
    section = section_here(session, section_id)
    assignments = [
        each for each in assignments_of(session, [section_id]) if not own or now >= each.opens_at
    ]
    standings = standings_of(session, student_id, [each.id for each in assignments])
    lines = [(each, standings[each.id]) for each in assignments]
    return page(
        request,
        "gradebook/standing.html",
        422 if mistake else 200,
        section=section,
        enrolment=enrolment,
        owes_from=field(enrolment.owes_from, request.state.zone) if enrolment.owes_from else "",
        instructs=instructs,
        accommodations=accommodations_of(session, student_id) if instructs else [],
        mistake=mistake,
        typed=typed or {},
        student=get_person(session, student_id),
        lines=lines,
        share=share_of(assignments, list(standings.values()), now),
        weights=sum(each.weight for each in assignments),
        own=own,
        now=now,
    )


def _back(assignment_id: int, student_id: int) -> Response:
    return RedirectResponse(f"/assignments/{assignment_id}/students/{student_id}", 303)
