"""Who may use which route: the one place that decides it.

RULES has a rule for every route, by the name of its function; the application does not start with
a route that has none, or with a rule that has no route. ``enforce`` runs before every route. It
reads the visitor from the cookie, compares the role, and asks the rule's owner check whether the
things named in the address are this visitor's to see. What is not theirs does not exist for them:
they get 404, as for a number that was never given out.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import Depends, HTTPException, WebSocketException, status
from sqlalchemy.orm import Session
from starlette.requests import HTTPConnection

from server.store.courses import (
    TEACHING,
    SectionRole,
    find_assignment,
    role_in_section,
)
from server.store.people import Role, session_user
from server.store.submissions import find_submission
from server.web.dependencies import DatabaseHere, Now

COOKIE = "rungmark_session"


@dataclass(frozen=True, slots=True)
class Visitor:
    """The signed-in person who looks at a page."""

    id: int
    name: str
    role: Role


@dataclass(frozen=True, slots=True)
class Visit:
    """What an owner check looks at; ``ids`` are the numbers in the address."""

    session: Session
    visitor: Visitor
    ids: Mapping[str, int]
    now: datetime


@dataclass(frozen=True, slots=True)
class Rule:
    """``roles`` None lets anybody in, signed in or not; ``owner`` None asks no further."""

    roles: frozenset[Role] | None
    owner: Callable[[Visit], bool] | None = None


def section_role(visit: Visit, section_id: int) -> SectionRole | None:
    return role_in_section(visit.session, visit.visitor.id, section_id)


def works_on_assignment(visit: Visit) -> bool:
    """A student of the section once the exercise is open; who teaches it, at any time."""
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    if assignment is None:
        return False
    role = section_role(visit, assignment.section_id)
    return role in TEACHING or (role is not None and visit.now >= assignment.opens_at)


def teaches_assignment(visit: Visit) -> bool:
    assignment = find_assignment(visit.session, visit.ids["assignment_id"])
    return assignment is not None and section_role(visit, assignment.section_id) in TEACHING


def reads_submission(visit: Visit) -> bool:
    """Its author, and who teaches its section."""
    submission = find_submission(visit.session, visit.ids["submission_id"])
    if submission is None:
        return False
    return (
        submission.user_id == visit.visitor.id
        or section_role(visit, submission.assignment.section_id) in TEACHING
    )


ANYBODY = Rule(roles=None)
SIGNED_IN = frozenset(Role)

RULES: dict[str, Rule] = {
    # accounts
    "sign_in_page": ANYBODY,
    "sign_in": ANYBODY,
    "sign_out": ANYBODY,
    # home
    "home": Rule(SIGNED_IN),
    # exercises
    "exercise": Rule(SIGNED_IN, works_on_assignment),
    # editor
    "edit_program": Rule(SIGNED_IN, works_on_assignment),
    "undo": Rule(SIGNED_IN, works_on_assignment),
    "redo": Rule(SIGNED_IN, works_on_assignment),
    "preview": Rule(SIGNED_IN, works_on_assignment),
    # submissions
    "submit": Rule(SIGNED_IN, works_on_assignment),
    "verdict": Rule(SIGNED_IN, reads_submission),
    "verdict_progress": Rule(SIGNED_IN, reads_submission),
    # trial
    "trial": Rule(SIGNED_IN, works_on_assignment),
    "trial_socket": Rule(SIGNED_IN, works_on_assignment),
    "watch_trial": Rule(SIGNED_IN, teaches_assignment),
    "watch_socket": Rule(SIGNED_IN, teaches_assignment),
    # gradebook
    "gradebook": Rule(SIGNED_IN, teaches_assignment),
    "gradebook_csv": Rule(SIGNED_IN, teaches_assignment),
}


class SignInFirst(HTTPException):
    """Nobody is signed in; ``address`` is where to go after signing in."""

    def __init__(self, address: str) -> None:
        super().__init__(status.HTTP_401_UNAUTHORIZED, "You are signed out. Sign in to go on.")
        self.address = address


def enforce(connection: HTTPConnection, database: DatabaseHere, now: Now) -> None:
    """Let the visitor through to the route, or raise what they get instead.

    It has a short unit of work of its own, so that an open socket holds none.
    """
    rule = RULES.get(connection.scope["route"].name)
    with database.read() as session:
        visitor = _visitor(session, connection, now)
        connection.state.visitor = visitor
        if rule is not None and rule.roles is None:
            return
        if visitor is None:
            raise _refusal(connection, SignInFirst(_return_address(connection)))
        if rule is None or rule.roles is None or visitor.role not in rule.roles:
            raise _refusal(
                connection,
                HTTPException(403, f"This page is not for the role of {visitor.role.value}."),
            )
        if rule.owner is not None and not rule.owner(
            Visit(session, visitor, _ids(connection.path_params), now)
        ):
            raise _refusal(connection, HTTPException(404))


def _visitor(session: Session, connection: HTTPConnection, now: datetime) -> Visitor | None:
    token = connection.cookies.get(COOKIE)
    user = session_user(session, token, now) if token else None
    return Visitor(user.id, user.name, user.role) if user else None


def _ids(path_params: Mapping[str, Any]) -> dict[str, int]:
    """The ids in the address; one that no table could hold names nothing."""
    ids = {name: value for name, value in path_params.items() if name.endswith("_id")}
    if not all(str(value).isascii() and str(value).isdecimal() for value in ids.values()):
        raise HTTPException(404)
    numbers = {name: int(value) for name, value in ids.items()}
    if any(number >= 2**31 for number in numbers.values()):
        raise HTTPException(404)
    return numbers


def _return_address(connection: HTTPConnection) -> str:
    query = connection.url.query
    return quote(connection.url.path + (f"?{query}" if query else ""), safe="/")


def _refusal(connection: HTTPConnection, refused: HTTPException) -> Exception:
    if connection.scope["type"] == "websocket":
        return WebSocketException(status.WS_1008_POLICY_VIOLATION, refused.detail)
    return refused


def visitor_here(connection: HTTPConnection) -> Visitor:
    found = connection.state.visitor
    assert isinstance(found, Visitor), "a route open to anybody asked who is signed in"
    return found


VisitorHere = Annotated[Visitor, Depends(visitor_here)]
