"""What new links of a platform lead to: chosen here, and handed over by the browser (Deep Linking).

A choice is made in a window by who is signed in, or inside the platform's frame, where nobody can
be: browsers keep our cookies from other sites' frames. There a ticket in the form opens the one
choice, which shows what is set for the section and nothing else.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.marking.files.catalogue import Catalogue
from server.remote.deep_linking import resource_link, response
from server.remote.http import host_of, is_permitted
from server.remote.own_keys import KeyTrouble, sign
from server.settings import Settings
from server.store.courses import Assignment
from server.store.database import Database
from server.store.lti import LtiChoice
from server.store.lti_choices import assignments_to_choose, choice_by_ticket
from server.store.lti_platforms import find_choice
from server.web.dependencies import CatalogueHere, DatabaseHere, Now, Reading, SettingsHere
from server.web.lti.addresses import target_of
from server.web.lti.frames import for_frame, frame_policy, origin_of
from server.web.rendering import error, page
from server.web.security import content_security_policy

router = APIRouter()

NOTHING = "Nothing was chosen."
NO_LINKS = "The LMS takes no LTI resource links here, and Rungmark gives nothing else."
GONE = "This choice has ended. Choose again from the LMS."
MOST = 100


@dataclass(frozen=True, slots=True)
class SentChoice:
    """What the form says: ids of assignments, or that nothing is chosen."""

    assignments: tuple[int, ...]
    cancel: bool


def sent(
    assignment: Annotated[tuple[int, ...], Form(max_length=MOST)] = (),
    cancel: Annotated[bool, Form()] = False,
) -> SentChoice:
    return SentChoice(tuple(dict.fromkeys(assignment)), cancel)


SentHere = Annotated[SentChoice, Depends(sent)]


@dataclass(frozen=True, slots=True)
class _Signing:
    """What it takes to hand a choice over; ``ticket`` is empty in a window of its own."""

    request: Request
    session: Session
    database: Database
    settings: Settings
    catalogue: Catalogue
    now: datetime
    ticket: str = ""


@router.get("/lti/choices/{choice_id}")
def lti_choice(request: Request, choice_id: int, session: Reading) -> Response:
    """Ask what new links of the platform are to lead to (Deep Linking 2.0)."""
    return choice_page(request, session, _choice(session, choice_id))


@router.post("/lti/choices/{choice_id}")
def hand_over_choice(
    request: Request,
    choice_id: int,
    session: Reading,
    database: DatabaseHere,
    settings: SettingsHere,
    catalogue: CatalogueHere,
    now: Now,
    form: SentHere,
) -> Response:
    """Hand the choice to the platform through the browser, which posts it there."""
    signing = _Signing(request, session, database, settings, catalogue, now)
    return _hand_over(signing, _choice(session, choice_id), form)


@router.post("/lti/framed/choice")
def hand_over_in_frame(
    request: Request,
    session: Reading,
    database: DatabaseHere,
    settings: SettingsHere,
    catalogue: CatalogueHere,
    now: Now,
    form: SentHere,
    ticket: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """Take the choice inside the platform's frame, for who has its ticket."""
    choice = choice_by_ticket(session, ticket, now)
    if choice is None:
        return error(request, 404, GONE)
    signing = _Signing(request, session, database, settings, catalogue, now, ticket)
    return _hand_over(signing, choice, form)


def _hand_over(signing: _Signing, choice: LtiChoice, form: SentChoice) -> Response:
    offered = {each.id: each for each in assignments_to_choose(signing.session, choice.context)}
    chosen = [offered[each] for each in form.assignments if each in offered]
    mistake = _mistake(choice, form, offered) or _where_mistake(choice)
    if mistake:
        return choice_page(signing.request, signing.session, choice, signing.ticket, mistake)
    items = [
        resource_link(choice, each, _most(signing.catalogue, each), target_of(signing.settings))
        for each in ([] if form.cancel else chosen)
    ]
    trouble = "" if choice.takes_links else NO_LINKS
    message = "" if items or trouble else NOTHING
    claims = response(choice, items, signing.now, message=message, trouble=trouble)
    try:
        with signing.database.write() as writing:
            token = sign(writing, claims, signing.settings.key_secret, signing.now)
    except KeyTrouble as refused:
        sentence = str(refused)
        return choice_page(signing.request, signing.session, choice, signing.ticket, sentence)
    address = choice.return_url
    titles = [str(each["title"]) for each in items]
    answer = page(signing.request, "lti/return.html", address=address, token=token, titles=titles)
    ancestors = frame_policy(choice.context.platform) if signing.ticket else "'none'"
    policy = content_security_policy(form_action=origin_of(address), frame_ancestors=ancestors)
    answer.headers["Content-Security-Policy"] = policy
    return answer


def _mistake(choice: LtiChoice, form: SentChoice, offered: Collection[int]) -> str:
    """Return what is wrong with what was chosen, if anything."""
    if form.cancel:
        return ""
    if not choice.takes_links:
        return NO_LINKS
    if not form.assignments or not set(form.assignments) <= set(offered):
        return "Choose from the exercises in the list, or cancel."
    if len(form.assignments) > 1 and not choice.takes_several:
        return "The LMS takes one link at a time. Choose one exercise."
    return ""


def _where_mistake(choice: LtiChoice) -> str:
    address = choice.return_url
    if host_of(address) in choice.context.platform.hosts and is_permitted(address):
        return ""
    return (
        f"The LMS wants the choice at {host_of(address) or 'no address'}, a host that is not "
        "registered. The administrator adds it to the hosts of this LMS."
    )


def _most(catalogue: Catalogue, assignment: Assignment) -> float:
    exercise = catalogue.find(assignment.exercise)
    return float(sum(each.weight for each in exercise.requirements)) if exercise else 1.0


def choice_page(
    request: Request, session: Session, choice: LtiChoice, ticket: str = "", mistake: str = ""
) -> Response:
    """Return the page of a choice; with a ticket, inside the platform's frame."""
    answer = page(
        request,
        "lti/choice.html",
        422 if mistake else 200,
        choice=choice,
        ticket=ticket,
        assignments=assignments_to_choose(session, choice.context),
        refusal="" if choice.takes_links else NO_LINKS,
        mistake=mistake,
    )
    return for_frame(answer, choice.context.platform) if ticket else answer


def _choice(session: Session, choice_id: int) -> LtiChoice:
    choice = find_choice(session, choice_id)
    if choice is None:
        raise HTTPException(404)
    return choice
