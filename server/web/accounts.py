"""Signing in and out."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.settings import Settings
from server.store import people
from server.web.access import COOKIE
from server.web.dependencies import DatabaseHere, Now, SettingsHere, Writing
from server.web.rendering import page

router = APIRouter()

WRONG = "Email and password don't fit together. Check both and try again."
TOO_MANY = "There were too many attempts to sign in. Wait 15 minutes and try again."


@router.get("/sign-in")
def sign_in_page(request: Request, next: str = "/") -> Response:
    return _form(request, next=next)


@router.post("/sign-in")
def sign_in(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    now: Now,
    email: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Three short units of work: none is open while the password is verified."""
    address = request.client.host if request.client else "unknown"
    with database.write() as session:
        permitted = people.note_attempt(session, email[:254], address, now)
    if not permitted:
        return _form(request, 429, next=next, email=email, mistake=TOO_MANY)
    with database.read() as session:
        user = people.find_user(session, email)
    stored_hash = user.password_hash if user else None
    fits, better_hash = people.verify_password(password, stored_hash)
    if user is None or not fits:
        return _form(request, 422, next=next, email=email, mistake=WRONG)
    with database.write() as session:
        user = session.get_one(people.User, user.id)
        user.password_hash = better_hash or user.password_hash
        return sign_in_as(session, user, own_address(next), settings, now)


def sign_in_as(
    session: Session, user: people.User, address: str, settings: Settings, now: datetime
) -> Response:
    """Sign this browser in, whoever was before, and send it on to an address of ours."""
    token = people.begin_session(session, user, now, settings.session_length)
    answer = RedirectResponse(address, 303)
    answer.set_cookie(
        COOKIE,
        token,
        max_age=int(settings.session_length.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=settings.secure,
    )
    return answer


@router.post("/sign-out")
def sign_out(request: Request, session: Writing, settings: SettingsHere) -> Response:
    token = request.cookies.get(COOKIE)
    if token:
        people.end_session(session, token)
    answer = RedirectResponse("/sign-out/openid" if settings.openid else "/sign-in", 303)
    answer.delete_cookie(COOKIE)
    return answer


def _form(
    request: Request, status: int = 200, *, next: str, email: str = "", mistake: str = ""
) -> Response:
    return page(
        request,
        "accounts/sign_in.html",
        status,
        next=next,
        email=email,
        mistake=mistake,
        openid=request.app.state.settings.openid,
    )


def own_address(address: str) -> str:
    """``address`` if it stays on this server; a browser reads ``//x`` and ``/\\x`` as a host."""
    own = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if own and address.isprintable() else "/"
