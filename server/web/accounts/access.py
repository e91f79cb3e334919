"""What an administrator does about an account's sign-in: disable it, enable it, drop its factor."""

from datetime import datetime

from fastapi import APIRouter, HTTPException
from sqlalchemy import delete
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.passwords import PasswordLink
from server.store.people import User
from server.store.second_factors import drop_factor
from server.store.sessions import end_sessions_of, forget_browsers
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import Now, Writing
from server.web.open_sockets import RECHECK

router = APIRouter()

OWN = "Nobody can disable their own account. Ask another administrator."


@router.post("/people/{person_id}/disable", dependencies=[RECHECK])
def disable_account(person_id: int, session: Writing, visitor: VisitorHere, now: Now) -> Response:
    """Nobody can sign in to the account from now on; its work is kept."""
    if person_id == visitor.id:
        raise HTTPException(422, OWN)
    user = session.get_one(User, person_id)
    user.disabled_at = user.disabled_at or now
    _note(session, visitor, person_id, now, "disabled")
    end_sessions_of(session, person_id)
    forget_browsers(session, person_id)
    session.execute(delete(PasswordLink).where(PasswordLink.user_id == person_id))
    return _back_to(user)


@router.post("/people/{person_id}/enable")
def enable_account(person_id: int, session: Writing, visitor: VisitorHere, now: Now) -> Response:
    user = session.get_one(User, person_id)
    user.disabled_at = None
    _note(session, visitor, person_id, now, "enabled")
    return _back_to(user)


@router.post("/people/{person_id}/remove-second-factor", dependencies=[RECHECK])
def remove_second_factor(
    person_id: int, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """For somebody who lost the phone and the recovery codes: they sign in by password again."""
    drop_factor(session, person_id)
    _note(session, visitor, person_id, now, "second factor removed")
    end_sessions_of(session, person_id)
    return _back_to(session.get_one(User, person_id))


def _note(session: Session, visitor: Visitor, person_id: int, now: datetime, what: str) -> None:
    note(session, now, visitor.id, Action.CHANGED_SIGN_IN, person_id=person_id, detail=what)


def _back_to(user: User) -> Response:
    return RedirectResponse(f"/people?find={user.email}", 303)
