"""The second factor: its code when somebody signs in, and the page where staff set it up."""

from datetime import timedelta
from typing import Annotated

import pyotp
import segno
from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.settings import Settings
from server.store import second_factors
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.guesses import begin_guess, forget_guesses, source_of_address
from server.store.people import Role, get_person
from server.store.sessions import (
    SignedIn,
    Stage,
    end_session,
    end_sessions_of,
    find_session,
    set_stage,
)
from server.web.access import COOKIE, Visitor, VisitorHere
from server.web.accounts.sign_in import client_address, give_session, wait_sentence
from server.web.cookies import read_cookie
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.open_sockets import RECHECK
from server.web.rendering import page

router = APIRouter()

ISSUER = "Rungmark"
"""As an authenticator app calls this server."""

WRONG = (
    "Wrong code. Type the code that the app shows now. If it is always refused, set the clock of "
    "the phone; without the phone, use a recovery code."
)
WRONG_FIRST = "Wrong code. Type the six digits that the app shows now for this server."

# -- signing in ---------------------------------------------------------------------------------


@router.get("/sign-in/code")
def sign_in_code_page(request: Request, session: Reading, now: Now, next: str = "/") -> Response:
    if _code_due(request, session, now) is None:
        return RedirectResponse("/sign-in", 303)
    return _code_page(request, next)


@router.post("/sign-in/code")
def sign_in_code(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    now: Now,
    code: Annotated[str, Form(max_length=100)] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Take the code that is due after the right password; a new session begins with it."""
    due = _code_due(request, session, now)
    if due is None:
        return RedirectResponse("/sign-in", 303)
    wait = _check(request, session, due.user_id, code, settings, now)
    if wait is not None:
        came = f"code, from {client_address(request)}"
        if not wait:
            note(session, now, None, Action.FAILED_SIGN_IN, person_id=due.user_id, detail=came)
        return _code_page(request, next, wait_sentence(wait) if wait else WRONG)
    user, stay = get_person(session, due.user_id), due.lasting
    end_session(session, due.token_hash)
    return give_session(request, session, user, next, settings, now, Stage.WITH_CODE, stay=stay)


def _code_due(request: Request, session: Session, now: Now) -> SignedIn | None:
    token = read_cookie(request, COOKIE)
    found = find_session(session, token, now) if token else None
    return found if found is not None and found.stage is Stage.CODE_DUE else None


def _code_page(request: Request, next: str, mistake: str = "") -> Response:
    status = 422 if mistake else 200
    return page(request, "accounts/code.html", status, next=next, mistake=mistake)


def _check(
    request: Request, session: Session, user_id: int, code: str, settings: Settings, now: Now
) -> timedelta | None:
    """Return None if the code is right; else how long the next try waits, often no time."""
    target, source = f"code {user_id}", source_of_address(client_address(request))
    wait = begin_guess(session, target, source, now)
    if wait:
        return wait
    if second_factors.check_code(session, user_id, code, now, settings.key_secret):
        forget_guesses(session, target, source)
        return None
    return timedelta()


def _mistake(
    request: Request, session: Session, user_id: int, code: str, settings: Settings, now: Now
) -> str:
    """Return what is wrong with a code, or how long the next try has to wait; empty if right."""
    wait = _check(request, session, user_id, code, settings, now)
    if wait is None:
        return ""
    return wait_sentence(wait) if wait else WRONG


# -- setting it up ------------------------------------------------------------------------------


@router.get("/second-factor")
def second_factor(
    request: Request, session: Reading, visitor: VisitorHere, settings: SettingsHere
) -> Response:
    return _page(request, session, visitor.id, settings)


@router.post("/second-factor/begin")
def begin_second_factor(session: Writing, visitor: VisitorHere, settings: SettingsHere) -> Response:
    """Make a secret for the app; nothing is asked for before its first code was shown."""
    if not second_factors.has_factor(session, visitor.id):
        second_factors.begin_factor(session, visitor.id, settings.key_secret)
    return RedirectResponse("/second-factor", 303)


@router.post("/second-factor", dependencies=[RECHECK])
def confirm_second_factor(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    settings: SettingsHere,
    now: Now,
    code: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """Turn it on: other browsers, which have shown no code, are signed out."""
    codes = second_factors.confirm_factor(session, visitor.id, code, now, settings.key_secret)
    if codes is None:
        return _page(request, session, visitor.id, settings, mistake=WRONG_FIRST)
    _note(session, visitor, now, "second factor turned on")
    end_sessions_of(session, visitor.id, but=visitor.session_hash)
    set_stage(session, visitor.session_hash, Stage.WITH_CODE)
    return _page(request, session, visitor.id, settings, codes=codes)


@router.post("/second-factor/codes")
def renew_recovery_codes(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    settings: SettingsHere,
    now: Now,
    code: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    mistake = _mistake(request, session, visitor.id, code, settings, now)
    if mistake:
        return _page(request, session, visitor.id, settings, mistake=mistake)
    codes = second_factors.new_recovery_codes(session, visitor.id)
    _note(session, visitor, now, "new recovery codes")
    return _page(request, session, visitor.id, settings, codes=codes)


@router.post("/second-factor/off")
def turn_off_second_factor(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    settings: SettingsHere,
    now: Now,
    code: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    mistake = _mistake(request, session, visitor.id, code, settings, now)
    if mistake:
        return _page(request, session, visitor.id, settings, mistake=mistake)
    second_factors.drop_factor(session, visitor.id)
    _note(session, visitor, now, "second factor turned off")
    set_stage(session, visitor.session_hash, Stage.WITHOUT_CODE)
    return RedirectResponse("/second-factor", 303)


def _note(session: Session, visitor: Visitor, now: Now, what: str) -> None:
    note(session, now, visitor.id, Action.CHANGED_SIGN_IN, person_id=visitor.id, detail=what)


def _page(
    request: Request,
    session: Session,
    user_id: int,
    settings: Settings,
    *,
    mistake: str = "",
    codes: list[str] | None = None,
) -> Response:
    user = get_person(session, user_id)
    secret = second_factors.pending_secret(session, user_id, settings.key_secret)
    picture = None
    if secret is not None:
        address = pyotp.TOTP(secret).provisioning_uri(name=user.email, issuer_name=ISSUER)
        picture = _picture(address)
    return page(
        request,
        "accounts/second_factor.html",
        422 if mistake else 200,
        on=second_factors.has_factor(session, user_id),
        left=second_factors.recovery_codes_left(session, user_id),
        required=settings.second_factor_required and user.role is Role.ADMINISTRATOR,
        # In groups, as a person types it who has no camera.
        secret=secret and " ".join(secret[at : at + 4] for at in range(0, len(secret), 4)),
        picture=picture,
        codes=codes or [],
        mistake=mistake,
    )


def _picture(address: str) -> Markup:
    """Draw the address as a QR code (ISO/IEC 18004): dark on light in any color scheme."""
    code = segno.make(address, error="m")
    return Markup(code.svg_inline(omitsize=True, dark="#000", light="#fff"))
