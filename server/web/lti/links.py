"""What an instructor chooses for a platform: the section of a course, the exercise of a link."""

import secrets
from datetime import datetime, timedelta
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.remote.http import host_of, is_permitted
from server.remote.own_keys import KeyTrouble, sign
from server.store import lti_choices
from server.store.courses import Assignment, Section, all_sections, assignments_of, find_assignment
from server.store.lti import LtiChoice, LtiContext, LtiLink
from server.store.lti_outbox import delivery, try_again
from server.store.people import Role, User
from server.web.access import Visitor, VisitorHere
from server.web.accounts.sign_in import own_address
from server.web.dependencies import (
    CatalogueHere,
    DatabaseHere,
    Now,
    Reading,
    SettingsHere,
    Writing,
)
from server.web.lti.launch import target_of
from server.web.rendering import page
from server.web.security import content_security_policy

router = APIRouter()

RESPONSE_LASTS = timedelta(minutes=5)
_CLAIM = "https://purl.imsglobal.org/spec/lti/claim/"
_CHOOSING = "https://purl.imsglobal.org/spec/lti-dl/claim/"


@router.get("/lti/contexts/{context_id}")
def lti_context(
    request: Request, context_id: int, session: Reading, visitor: VisitorHere, then: str = "/"
) -> Response:
    """Which section is this course of the platform?"""
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
    """Where does this link of the platform lead?"""
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
    if assignment not in {each.id for each in _assignments(session, link.context)}:
        return _link_page(request, session, link, "Choose one of the exercises in the list.")
    lti_choices.bind(session, link, assignment, now, by_requirement=by_requirement)
    return RedirectResponse(f"/assignments/{assignment}/gradebook", 303)


@router.post("/assignments/{assignment_id}/scores")
def send_scores_again(assignment_id: int, session: Writing, now: Now) -> Response:
    """Send what waits now, after what was in the way has been mended."""
    try_again(session, assignment_id, now)
    return RedirectResponse(f"/assignments/{assignment_id}/gradebook#lms", 303)


@router.get("/lti/choices/{choice_id}")
def lti_choice(request: Request, choice_id: int, session: Reading) -> Response:
    """What is a new link of the platform to lead to? (Deep Linking 2.0)"""
    return _choice_page(request, session, _choice(session, choice_id))


@router.post("/lti/choices/{choice_id}")
def hand_over_choice(
    request: Request,
    choice_id: int,
    session: Reading,
    database: DatabaseHere,
    settings: SettingsHere,
    catalogue: CatalogueHere,
    now: Now,
    assignment: Annotated[int, Form()] = 0,
) -> Response:
    """Hand the choice to the platform through the browser, which posts it there."""
    choice = _choice(session, choice_id)
    chosen = find_assignment(session, assignment)
    if chosen is None or chosen.section_id != choice.context.section_id:
        sentence = "Choose one of the exercises in the list."
        return _choice_page(request, session, choice, sentence)
    platform, address = choice.context.platform, choice.return_url
    if host_of(address) not in platform.hosts or not is_permitted(address):
        sentence = (
            f"The LMS wants the choice at {host_of(address) or 'no address'}, a host that is not "
            "registered. The administrator adds it to the hosts of this LMS."
        )
        return _choice_page(request, session, choice, sentence)
    exercise = catalogue.find(chosen.exercise)
    most = float(sum(each.weight for each in exercise.requirements)) if exercise else 1.0
    claims = _response(choice, _item(choice, chosen, most, target_of(settings)), now)
    try:
        with database.write() as writing:
            token = sign(writing, claims, settings.key_secret, now)
    except KeyTrouble as trouble:
        return _choice_page(request, session, choice, str(trouble))
    answer = page(request, "lti/return.html", address=address, token=token, assignment=chosen)
    parts = urlsplit(address)
    policy = content_security_policy(form_action=f"{parts.scheme}://{parts.netloc}")
    answer.headers["Content-Security-Policy"] = policy
    return answer


def _item(choice: LtiChoice, chosen: Assignment, most: float, target: str) -> dict[str, object]:
    """Deep Linking 2.0, 'LTI Resource Link' as a content item (names from memory)."""
    item: dict[str, object] = {
        "type": "ltiResourceLink",
        "title": chosen.title,
        "url": target,
        "custom": {"assignment": str(chosen.id)},
    }
    if choice.takes_line_item:
        item["lineItem"] = {
            "label": chosen.title,
            "scoreMaximum": most,
            "resourceId": f"assignment-{chosen.id}",
        }
    return item


def _response(choice: LtiChoice, item: dict[str, object], now: datetime) -> dict[str, object]:
    """Deep Linking 2.0, 'Deep linking response message' (from memory)."""
    platform = choice.context.platform
    claims: dict[str, object] = {
        "iss": platform.client_id,
        "aud": platform.issuer,
        "iat": int(now.timestamp()),
        "exp": int((now + RESPONSE_LASTS).timestamp()),
        "nonce": secrets.token_urlsafe(24),
        f"{_CLAIM}deployment_id": choice.context.deployment_id,
        f"{_CLAIM}message_type": "LtiDeepLinkingResponse",
        f"{_CLAIM}version": "1.3.0",
        f"{_CHOOSING}content_items": [item],
    }
    if choice.data is not None:
        claims[f"{_CHOOSING}data"] = choice.data
    return claims


def _sections(session: Session, visitor: Visitor) -> list[Section]:
    if visitor.role is Role.ADMINISTRATOR:
        return all_sections(session)
    return lti_choices.sections_to_choose(session, session.get_one(User, visitor.id))


def _assignments(session: Session, context: LtiContext) -> list[Assignment]:
    return assignments_of(session, [context.section_id]) if context.section_id else []


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
        assignments=_assignments(session, link.context),
        delivery=delivery(session, link.assignment_id) if link.assignment_id else None,
        assignment=link.assignment,
        mistake=mistake,
    )


def _choice_page(
    request: Request, session: Session, choice: LtiChoice, mistake: str = ""
) -> Response:
    return page(
        request,
        "lti/choice.html",
        422 if mistake else 200,
        choice=choice,
        assignments=_assignments(session, choice.context),
        mistake=mistake,
    )


def _context(session: Session, context_id: int) -> LtiContext:
    context = session.get(LtiContext, context_id)
    if context is None:
        raise HTTPException(404)
    return context


def _link(session: Session, link_id: int) -> LtiLink:
    link = session.get(LtiLink, link_id)
    if link is None:
        raise HTTPException(404)
    return link


def _choice(session: Session, choice_id: int) -> LtiChoice:
    choice = session.get(LtiChoice, choice_id)
    if choice is None:
        raise HTTPException(404)
    return choice
