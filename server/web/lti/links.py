"""What an instructor chooses for a platform: the section of a course, the exercise of a link."""

from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import lti_choices
from server.store.courses import Section, all_sections, instructed_sections
from server.store.lti import LtiContext, LtiLink
from server.store.lti_outbox import delivery, try_again
from server.store.lti_platforms import find_context, find_link
from server.store.people import Role
from server.web.access import Visitor, VisitorHere
from server.web.accounts.sign_in import own_address
from server.web.dependencies import Now, Reading, Writing
from server.web.rendering import page

router = APIRouter()


@router.get("/lti/contexts/{context_id}")
def lti_context(
    request: Request, context_id: int, session: Reading, visitor: VisitorHere, then: str = "/"
) -> Response:
    """Ask which section this course of the platform is."""
    return _context_page(request, session, _context(session, context_id), visitor, then)


@router.post("/lti/contexts/{context_id}")
def connect_context(
    request: Request,
    context_id: int,
    session: Writing,
    visitor: VisitorHere,
    section: Annotated[int, Form()] = 0,
    then: Annotated[str, Form(max_length=1000)] = "/",
) -> Response:
    context = _context(session, context_id)
    if section not in {each.id for each in _sections(session, visitor)}:
        sentence = "Choose one of the sections in the list."
        return _context_page(request, session, context, visitor, then, sentence)
    context.section_id = section
    return RedirectResponse(own_address(then), 303)


@router.get("/lti/links/{link_id}")
def lti_link(request: Request, link_id: int, session: Reading) -> Response:
    """Ask where this link of the platform leads."""
    return _link_page(request, session, _link(session, link_id))


@router.post("/lti/links/{link_id}")
def bind_link(
    request: Request,
    link_id: int,
    session: Writing,
    now: Now,
    assignment: Annotated[int, Form()] = 0,
    by_requirement: Annotated[bool, Form()] = False,
) -> Response:
    """Lead it to an assignment; what was reached there before is sent, too."""
    link = _link(session, link_id)
    if assignment not in {
        each.id for each in lti_choices.assignments_to_choose(session, link.context)
    }:
        return _link_page(request, session, link, "Choose one of the exercises in the list.")
    lti_choices.bind(session, link, assignment, now, by_requirement=by_requirement)
    return RedirectResponse(f"/assignments/{assignment}/gradebook", 303)


@router.post("/assignments/{assignment_id}/scores")
def send_scores_again(assignment_id: int, session: Writing, now: Now) -> Response:
    """Send what waits now, after what was in the way has been fixed."""
    try_again(session, assignment_id, now)
    return RedirectResponse(f"/assignments/{assignment_id}/gradebook#lms", 303)


def _sections(session: Session, visitor: Visitor) -> list[Section]:
    if visitor.role is Role.ADMINISTRATOR:
        return [each for each in all_sections(session) if not each.is_archived]
    return instructed_sections(session, visitor.id)


def _context_page(
    request: Request,
    session: Session,
    context: LtiContext,
    visitor: Visitor,
    then: str,
    mistake: str = "",
) -> Response:
    return page(
        request,
        "lti/context.html",
        422 if mistake else 200,
        context=context,
        sections=_sections(session, visitor),
        then=own_address(then),
        mistake=mistake,
    )


def _link_page(request: Request, session: Session, link: LtiLink, mistake: str = "") -> Response:
    return page(
        request,
        "lti/link.html",
        422 if mistake else 200,
        link=link,
        assignments=lti_choices.assignments_to_choose(session, link.context),
        delivery=delivery(session, link.assignment_id) if link.assignment_id else None,
        assignment=link.assignment,
        mistake=mistake,
    )


def _context(session: Session, context_id: int) -> LtiContext:
    context = find_context(session, context_id)
    if context is None:
        raise HTTPException(404)
    return context


def _link(session: Session, link_id: int) -> LtiLink:
    link = find_link(session, link_id)
    if link is None:
        raise HTTPException(404)
    return link
