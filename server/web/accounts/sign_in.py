"""Signing in and out."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from server.settings import Settings
from server.store import people, sessions
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.database import Database
from server.store.guesses import (
    begin_guess,
    forget_guesses,
    source_of_address,
    source_of_browser,
)
from server.store.second_factors import has_factor
from server.store.sessions import Lifetime, Stage, end_session, hash_token
from server.web.access import COOKIE
from server.web.accounts.sign_in_line import LineFull, SignInLineHere
from server.web.cookies import drop_cookie, read_cookie, set_cookie
from server.web.dependencies import DatabaseHere, Now, Reading, SettingsHere, Writing
from server.web.open_sockets import RECHECK
from server.web.rendering import page

router = APIRouter()

KNOWN_COOKIE = "rungmark_browser"
"""Lasts longer than a session: whoever guesses elsewhere makes nobody wait in this browser."""

WRONG = "Wrong email or password. Check both and try again."
BUSY = "Too many people are signing in at once. Try again in a few seconds."
DISABLED = "This account is disabled, so nobody can sign in to it. Ask an administrator."


def wait_sentence(wait: timedelta) -> str:
    """Return the sentence for somebody who has to wait before the next try."""
    seconds = max(1, round(wait.total_seconds()))
    return f"Too many wrong tries. Wait {seconds} seconds, then try again."


@router.get("/sign-in")
def sign_in_page(request: Request, session: Reading, next: str = "/") -> Response:
    return _form(request, _Typed(next=next), nobody=not people.has_people(session))


@dataclass(frozen=True, slots=True)
class _Typed:
    """What was typed into the form and comes back with it, but for the password."""

    email: str = ""
    next: str = "/"
    stay: bool = False


@dataclass(frozen=True, slots=True)
class _Guess:
    """Whose password it may be; ``source`` is a browser known to be theirs, or an address."""

    account: str
    source: str
    user_id: int | None
    password_hash: str | None
    wait: timedelta


@router.post("/sign-in", dependencies=[RECHECK])
async def sign_in(
    request: Request,
    database: DatabaseHere,
    settings: SettingsHere,
    now: Now,
    line: SignInLineHere,
    email: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
    stay: Annotated[bool, Form()] = False,
) -> Response:
    """No unit of work is open, and no thread taken, while the password waits to be verified."""
    typed = _Typed(email, next, stay)
    address = source_of_address(client_address(request))
    known = read_cookie(request, KNOWN_COOKIE) or ""
    guess = await run_in_threadpool(_begin, database, email, address, known, now)
    if guess.wait:
        return await run_in_threadpool(_wait, request, typed, guess.wait)
    try:
        fits, better_hash = await line.verify(address, password, guess.password_hash)
    except LineFull:
        return await run_in_threadpool(_form, request, typed, 429, mistake=BUSY)
    if guess.user_id is None or not fits:
        return await run_in_threadpool(_refuse, request, database, typed, guess, now)

    def finish(user_id: int) -> Response:
        with database.write() as session:
            user = people.get_person(session, user_id)
            user.password_hash = better_hash or user.password_hash
            forget_guesses(session, guess.account, guess.source)
            return sign_in_as(request, session, user, typed.next, settings, now, stay=stay)

    return await run_in_threadpool(finish, guess.user_id)


def _refuse(
    request: Request, database: Database, typed: _Typed, guess: _Guess, now: datetime
) -> Response:
    """Refuse a sign-in, also of an account that is not there: it takes a line in the log, too."""
    with database.write() as session:
        came = f"from {client_address(request)}"
        note(session, now, None, Action.FAILED_SIGN_IN, person_id=guess.user_id, detail=came)
    return _form(request, typed, 422, mistake=WRONG)


def _begin(database: Database, email: str, address: str, known: str, now: datetime) -> _Guess:
    """Count the try before anything is looked at: by the account as it is looked up."""
    account = people.normal_email(email)
    with database.read() as session:
        user = people.find_user(session, account)
        user_id, password_hash = (user.id, user.password_hash) if user else (None, None)
        is_known = user_id is not None and sessions.is_known(session, known, user_id)
    source = source_of_browser(known) if is_known else address
    with database.write() as session:
        wait = begin_guess(session, account, source, now)
    return _Guess(account, source, user_id, password_hash, wait)


def sign_in_as(
    request: Request,
    session: Session,
    user: people.User,
    address: str,
    settings: Settings,
    now: datetime,
    *,
    stay: bool = False,
) -> Response:
    """Sign this browser in, whoever was before, and send it on to an address of ours.

    Where a second factor is set up, its code comes first. Raises HTTPException for an account that
    is disabled, which takes back the unit of work.
    """
    if user.disabled_at is not None:
        raise HTTPException(403, DISABLED)
    end_session(session, hash_token(read_cookie(request, COOKIE) or ""))
    stage = Stage.CODE_DUE if has_factor(session, user.id) else Stage.WITHOUT_CODE
    if stage is Stage.CODE_DUE:
        address = f"/sign-in/code?{urlencode({'next': own_address(address)})}"
    return give_session(request, session, user, address, settings, now, stage, stay=stay)


def give_session(
    request: Request,
    session: Session,
    user: people.User,
    address: str,
    settings: Settings,
    now: datetime,
    stage: Stage,
    *,
    stay: bool,
) -> Response:
    """Return a new session for this browser.

    Its cookie goes with the window unless it is to stay.
    """
    lifetime = Lifetime(settings.session_length, settings.idle)
    if stay:
        lifetime = Lifetime(settings.stay_length, settings.stay_length, lasting=True)
    token = sessions.begin_session(
        session,
        user,
        now,
        lifetime,
        stage=stage,
        address=client_address(request),
        browser=request.headers.get("User-Agent", ""),
    )
    answer = RedirectResponse(own_address(address), 303)
    lasts = lifetime.length if stay and stage is not Stage.CODE_DUE else None
    set_cookie(answer, request, COOKIE, token, lasts=lasts)
    if stage is not Stage.CODE_DUE:
        note(session, now, user.id, Action.SIGNED_IN, person_id=user.id, detail=stage.value)
        known = read_cookie(request, KNOWN_COOKIE) or ""
        known = sessions.know_browser(session, known, user.id, now)
        set_cookie(answer, request, KNOWN_COOKIE, known, lasts=sessions.KNOWN_FOR)
    return answer


@router.post("/sign-out", dependencies=[RECHECK])
def sign_out(request: Request, session: Writing, settings: SettingsHere, now: Now) -> Response:
    if visitor := request.state.visitor:
        note(session, now, visitor.id, Action.SIGNED_OUT, person_id=visitor.id)
    end_session(session, hash_token(read_cookie(request, COOKIE) or ""))
    answer = RedirectResponse("/sign-out/openid" if settings.openid else "/sign-in", 303)
    drop_cookie(answer, request, COOKIE)
    return answer


def _wait(request: Request, typed: _Typed, wait: timedelta) -> Response:
    answer = _form(request, typed, 429, mistake=wait_sentence(wait))
    answer.headers["Retry-After"] = str(max(1, round(wait.total_seconds())))
    return answer


def _form(
    request: Request, typed: _Typed, status: int = 200, *, mistake: str = "", nobody: bool = False
) -> Response:
    """Return the form; ``nobody`` says that no one could sign in by it yet."""
    return page(
        request,
        "accounts/sign_in.html",
        status,
        typed=typed,
        mistake=mistake,
        nobody=nobody,
        openid=request.app.state.settings.openid,
        stay_days=request.app.state.settings.stay_length.days,
    )


def client_address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def own_address(address: str) -> str:
    r"""Return ``address`` if it stays on this server, else "/".

    A browser reads ``//x`` and ``/\x`` as a host.
    """
    own = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if own and address.isprintable() else "/"
