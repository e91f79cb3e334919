"""What an administrator does about an account's sign-in: disable, enable, disconnect it."""

from fastapi import APIRouter, HTTPException
from starlette.responses import RedirectResponse, Response

from server.store import accounts
from server.store.people import User, get_person
from server.web.access import VisitorHere
from server.web.dependencies import Now, Writing
from server.web.open_sockets import RECHECK

router = APIRouter()

OWN = "Nobody can disable their own account. Ask another administrator."


@router.post("/people/{person_id}/disable", dependencies=[RECHECK])
def disable_account(person_id: int, session: Writing, visitor: VisitorHere, now: Now) -> Response:
    """Let nobody sign in to the account from now on; its work is kept."""
    if person_id == visitor.id:
        raise HTTPException(422, OWN)
    user = get_person(session, person_id)
    accounts.disable_account(session, user, by_id=visitor.id, now=now)
    return _back_to(user)


@router.post("/people/{person_id}/enable")
def enable_account(person_id: int, session: Writing, visitor: VisitorHere, now: Now) -> Response:
    """Let the owner of the account sign in again."""
    user = get_person(session, person_id)
    accounts.enable_account(session, user, by_id=visitor.id, now=now)
    return _back_to(user)


@router.post("/people/{person_id}/disconnect", dependencies=[RECHECK])
def disconnect_person(person_id: int, session: Writing, visitor: VisitorHere, now: Now) -> Response:
    """Undo the connection with an LMS or OpenID provider, which may have taken the wrong person."""
    user = get_person(session, person_id)
    accounts.disconnect(session, user, by_id=visitor.id, now=now)
    return _back_to(user)


@router.post("/people/{person_id}/remove-second-factor", dependencies=[RECHECK])
def remove_second_factor(
    person_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Remove the factor of somebody who lost phone and recovery codes; a password is enough."""
    user = get_person(session, person_id)
    accounts.remove_factor(session, user, by_id=visitor.id, now=now)
    return _back_to(user)


def _back_to(user: User) -> Response:
    return RedirectResponse(f"/people?find={user.email}", 303)
