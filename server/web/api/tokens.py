"""The page on which somebody makes and ends tokens for their scripts."""

from datetime import date, datetime, time, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from sqlalchemy.orm import Session
from starlette.responses import JSONResponse, RedirectResponse, Response

from server.store.api_tokens import LONGEST, MOST, TokenScope, end_token, make_token, tokens_of
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.college import time_zone
from server.store.people import Role
from server.web.access import Visitor, VisitorHere
from server.web.api.reading import describe_api
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.rendering import page

router = APIRouter()

USUAL = timedelta(days=90)

SCOPES = {
    Role.INSTRUCTOR: (TokenScope.ROSTER, TokenScope.GRADEBOOK, TokenScope.EXERCISES),
    Role.DEPARTMENT: (TokenScope.REPORT, TokenScope.EXERCISES),
    Role.ADMINISTRATOR: (TokenScope.ROSTER, TokenScope.REPORT, TokenScope.EXERCISES),
}
"""What somebody's scripts can read at all, since a token opens nothing that its owner may not."""


@router.get("/tokens")
def tokens(
    request: Request, session: Reading, visitor: VisitorHere, settings: SettingsHere, now: Now
) -> Response:
    return _page(request, session, visitor, settings.public_urls[0], now)


@router.post("/tokens")
def add_token(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    settings: SettingsHere,
    now: Now,
    name: Annotated[str, Form(max_length=80)] = "",
    ends: Annotated[str, Form(max_length=10)] = "",
    scope: Annotated[list[TokenScope] | None, Form()] = None,
) -> Response:
    """Make a token; the page shows it this once."""

    def answer(*, mistake: str = "", token: str = "") -> Response:
        typed = (name, ends, frozenset(scope or ())) if mistake else None
        address = settings.public_urls[0]
        return _page(request, session, visitor, address, now, mistake, token, typed)

    wanted = [each for each in scope or () if each in SCOPES[visitor.role]]
    if not name.strip() or not wanted:
        return answer(mistake="A token needs a name and at least one thing to read. Give both.")
    expires_at = _end_of(session, ends)
    if expires_at is None or not now < expires_at <= now + LONGEST:
        return answer(mistake="A token ends within a year. Choose a day from today on.")
    token = make_token(session, visitor.id, name.strip(), wanted, expires_at, now)
    if token is None:
        return answer(mistake=f"You have {MOST} tokens. End one first.")
    _note(session, visitor, Action.MADE_TOKEN, name.strip(), now)
    return answer(token=token)


@router.post("/tokens/end")
def delete_token(
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    which: Annotated[int, Form()] = 0,
) -> Response:
    """End one of one's own tokens at once."""
    name = end_token(session, visitor.id, which)
    if name is None:
        raise HTTPException(404)
    _note(session, visitor, Action.ENDED_TOKEN, name, now)
    return RedirectResponse("/tokens", 303)


@router.get("/api/v1/openapi.json")
def api_description() -> Response:
    """Describe the API for programs that read OpenAPI."""
    return JSONResponse(describe_api())


def _note(session: Session, visitor: Visitor, action: Action, name: str, now: datetime) -> None:
    note(session, now, visitor.id, action, person_id=visitor.id, detail=name)


def _end_of(session: Session, day: str) -> datetime | None:
    """Return the end of a day in the college's time zone, None if it is no day."""
    try:
        after = date.fromisoformat(day) + timedelta(days=1)
    except (ValueError, OverflowError):
        return None
    return datetime.combine(after, time(), time_zone(session))


def _page(
    request: Request,
    session: Session,
    visitor: Visitor,
    address: str,
    now: datetime,
    mistake: str = "",
    token: str = "",
    typed: tuple[str, str, frozenset[TokenScope]] | None = None,
) -> Response:
    today = now.astimezone(time_zone(session)).date()
    usual = (today + USUAL).isoformat()
    name, ends, chosen = typed or ("", usual, frozenset())
    return page(
        request,
        "api/tokens.html",
        422 if mistake else 200,
        tokens=tokens_of(session, visitor.id),
        scopes=SCOPES[visitor.role],
        paths=describe_api()["paths"],
        address=address,
        now=now,
        today=today,
        latest=today + LONGEST - timedelta(days=1),
        mistake=mistake,
        token=token,
        name=name,
        ends=ends,
        chosen=chosen,
    )
