"""Choosing new links inside the platform's frame, where browsers refuse our cookies.

The state comes back out of the platform's storage in this browser, posted by our own page. Nobody
is signed in by it: what opens is one choice, by a ticket in its form. That shows no more than what
is set for the section, so no second factor is asked for.
"""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from server.store import lti_entry
from server.store.lti_choices import give_ticket
from server.store.lti_entry import NotYet, ProofNeeded
from server.store.lti_platforms import get_choice
from server.web.accounts.sign_in import DISABLED
from server.web.dependencies import DatabaseHere, Now
from server.web.lti.choices import choice_page
from server.web.lti.launch import UNKNOWN, admit, begin_choice, follow_role, refusal
from server.web.rendering import error

router = APIRouter()

PROOF = (
    "Your account here is older than its connection with the LMS. Open any link to Rungmark from "
    "the course once and sign in there; then choose again."
)
NO_SECTION = (
    "The course is not connected with a section here yet. Open any link to Rungmark from the "
    "course and choose its section; then choose again."
)


@router.post("/lti/framed")
def lti_enter_in_frame(
    request: Request,
    database: DatabaseHere,
    now: Now,
    state: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Finish a launch in the frame that began it, with the state from the platform's storage."""
    waiting = follow_role(database, state, now)
    if waiting is None:
        return error(request, 400, UNKNOWN)
    platform, launch = waiting
    try:
        with database.write() as session:
            login = lti_entry.find_login(session, state, now, lock=True)
            if login is None or not login.storage_target or launch.wanted is None:
                return error(request, 400, UNKNOWN)
            user, context, role = admit(session, platform, launch, None, now)
            if user.disabled_at is not None:
                raise NotYet(DISABLED)
            if context.section_id is None:
                raise NotYet(NO_SECTION)
            choice = begin_choice(session, context, launch.wanted, user, role, now)
            ticket, choice_id = give_ticket(choice), choice.id
            lti_entry.end_login(session, login)
    except (NotYet, ProofNeeded) as refused:
        sentence = PROOF if isinstance(refused, ProofNeeded) else str(refused)
        return refusal(
            request, platform, sentence, back_url=launch.back_url, status=200, framed=True
        )
    with database.read() as session:
        return choice_page(request, session, get_choice(session, choice_id), ticket)
