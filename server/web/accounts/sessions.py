"""Where somebody is signed in, and signing out there."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.sessions import (
    end_session,
    end_sessions_of,
    forget_browsers,
    sessions_of,
)
from server.web.access import COOKIE, VisitorHere
from server.web.cookies import drop_cookie
from server.web.dependencies import Now, Reading, Writing
from server.web.open_sockets import RECHECK
from server.web.rendering import environment, page

router = APIRouter()

# From the most to the least particular: several browsers also name those they are made from.
_BROWSERS = {
    "Edg": "Edge",
    "OPR": "Opera",
    "Firefox": "Firefox",
    "FxiOS": "Firefox",
    "CriOS": "Chrome",
    "Chrome": "Chrome",
    "Safari": "Safari",
}
_SYSTEMS = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Android": "Android",
    "CrOS": "ChromeOS",
    "Windows": "Windows",
    "Mac OS": "macOS",
    "Linux": "Linux",
}


def describe_browser(said: str) -> str:
    """Return what a browser says it is (the header User-Agent), in two words."""
    browser = next((name for sign, name in _BROWSERS.items() if f"{sign}/" in said), "")
    system = next((name for sign, name in _SYSTEMS.items() if sign in said), "")
    if browser and system:
        return f"{browser} on {system}"
    return browser or system or "Unknown browser"


environment.filters["browser"] = describe_browser


@router.get("/sessions")
def where_signed_in(
    request: Request, session: Reading, visitor: VisitorHere, now: Now, password: str = ""
) -> Response:
    return page(
        request,
        "accounts/sessions.html",
        sessions=sessions_of(session, visitor.id, now),
        here=visitor.session_hash,
        changed=password == "changed",
        staff=visitor.role.value != "student",
        now=now,
    )


@router.post("/sessions/end", dependencies=[RECHECK])
def end_other_session(
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    which: Annotated[str, Form(max_length=64)] = "",
) -> Response:
    """Sign out in one other browser."""
    if which in {each.token_hash for each in sessions_of(session, visitor.id, now)}:
        end_session(session, which)
    return RedirectResponse("/sessions", 303)


@router.post("/sessions/end-all", dependencies=[RECHECK])
def sign_out_everywhere(
    request: Request, session: Writing, visitor: VisitorHere, now: Now
) -> Response:
    """Sign out in all browsers, this one too."""
    note(session, now, visitor.id, Action.SIGNED_OUT, person_id=visitor.id, detail="everywhere")
    end_sessions_of(session, visitor.id)
    forget_browsers(session, visitor.id)
    answer = RedirectResponse("/sign-in", 303)
    drop_cookie(answer, request, COOKIE)
    return answer
