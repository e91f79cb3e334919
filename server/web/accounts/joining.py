"""How somebody comes in without an administrator: join code, and the link for a password."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from server.settings import Settings
from server.store import passwords, roster, roster_file
from server.store.courses import SectionRole, role_in_section
from server.store.database import Database
from server.store.join_codes import (
    is_full,
    note_wrong_code,
    section_by_code,
    sends_wrong_codes,
)
from server.store.people import (
    Origin,
    User,
    find_user,
    get_person,
    hash_password,
    lock_accounts,
    normal_email,
)
from server.store.roster_log import note_role
from server.web.access import VisitorHere
from server.web.accounts.password_rules import weakness
from server.web.dependencies import DatabaseHere, Now, Reading
from server.web.open_sockets import RECHECK
from server.web.rendering import page

router = APIRouter()

NO_CODE = "No section has this join code. Ask your instructor for the current one."
TAKEN = (
    "There is an account with this email already. Sign in with it, then join with the code. If it "
    "is not yours, tell your instructor."
)
FULL = (
    "Too many have joined this section whom its instructor has not confirmed yet. "
    "Ask your instructor to look at the roster, then join again."
)
USED_UP = "This link was used, has expired or is incomplete. Ask an administrator for a new one."
TOO_MANY = (
    "Too many wrong codes came from this network. Ask your instructor for the code; "
    "the right one still lets you in."
)
WAIT = "You have sent too many wrong codes. Ask your instructor for the code and wait 15 minutes."


@router.get("/join")
def join_page(request: Request, code: str = "") -> Response:
    return page(request, "accounts/join.html", code=code, name="", email="", mistake="")


@router.post("/join")
def join(
    request: Request,
    database: DatabaseHere,
    now: Now,
    code: Annotated[str, Form(max_length=40)] = "",
    name: Annotated[str, Form(max_length=200)] = "",
    email: Annotated[str, Form(max_length=254)] = "",
    password: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make a student's account in the section of the code."""

    def refuse(sentence: str, status: int = 422) -> Response:
        return page(
            request,
            "accounts/join.html",
            status,
            code=code,
            name=name,
            email=email,
            mistake=sentence,
        )

    with database.read() as session:
        section = section_by_code(session, code)
        taken = find_user(session, email) is not None
        full = section is not None and is_full(session, section.id)
    if section is None:
        return refuse(*_wrong_code(database, f"address {_address(request)}", now))
    if taken or full:
        return refuse(TAKEN if taken else FULL)
    if not roster_file.EMAIL.fullmatch(normal_email(email)):
        return refuse(f"{email or 'Nothing'} is not an email address. Correct it.")
    if not name.strip():
        return refuse("Your name is missing. Write it as the roster should show it.")
    if wrong := weakness(password, name, email):
        return refuse(wrong)
    password_hash = hash_password(password)
    with database.write() as session:
        lock_accounts(session)
        section = section_by_code(session, code)
        if section is None or find_user(session, email) is not None:
            return refuse(NO_CODE if section is None else TAKEN)
        if is_full(session, section.id):
            return refuse(FULL)
        line = roster_file.RosterLine(
            0, normal_email(email), name.strip(), roster_file.sorted_name(name.strip())
        )
        roster.enrol_all(
            session, section, [line], drop_missing=False, origin=Origin.JOIN_CODE, now=now
        )
        user = find_user(session, email)
        assert user is not None
        user.password_hash = password_hash
        student = SectionRole.STUDENT
        note_role(session, section.id, user.id, None, student, by_id=user.id, now=now)
    return RedirectResponse("/sign-in", 303)


@router.post("/sections/join")
def join_section(
    request: Request,
    database: DatabaseHere,
    visitor: VisitorHere,
    now: Now,
    code: Annotated[str, Form(max_length=40)] = "",
) -> Response:
    """Let somebody who is signed in join one more section."""

    def refuse(sentence: str, status: int = 422) -> Response:
        typed = {"code": code, "name": "", "email": ""}
        return page(request, "accounts/join.html", status, **typed, mistake=sentence)

    sender = f"account {visitor.id}"
    with database.read() as session:
        section = section_by_code(session, code)
        guesses = sends_wrong_codes(session, sender, now)
    if guesses:
        return refuse(WAIT, 429)
    if section is None:
        return refuse(*_wrong_code(database, sender, now))
    with database.write() as session:
        if role_in_section(session, visitor.id, section.id) is None:
            user = get_person(session, visitor.id)
            if not user.confirmed and is_full(session, section.id):
                return refuse(FULL)
            student = SectionRole.STUDENT
            roster.enrol(session, section, user, student, now=now)
            note_role(session, section.id, user.id, None, student, by_id=user.id, now=now)
    return RedirectResponse("/", 303)


def _wrong_code(database: Database, sender: str, now: datetime) -> tuple[str, int]:
    """Count a wrong code; return the sentence and the status that its sender gets."""
    with database.write() as session:
        counted = note_wrong_code(session, sender, now)
    return (NO_CODE, 422) if counted else (TOO_MANY, 429)


def _address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def address_of_link(settings: Settings, secret: str) -> str:
    """Return the address that the holder of a password link opens."""
    return f"{settings.public_urls[0]}/password?link={secret}"


@router.get("/password")
def password_page(request: Request, session: Reading, now: Now, link: str = "") -> Response:
    user = passwords.user_of_link(session, link, now)
    return _password_page(request, user, link, "" if user else USED_UP)


@router.post("/password", dependencies=[RECHECK])
def set_password(
    request: Request,
    database: DatabaseHere,
    now: Now,
    link: Annotated[str, Form(max_length=100)] = "",
    password: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Use up a link: the new password holds, and whoever was signed in is signed out."""
    with database.read() as session:
        user = passwords.user_of_link(session, link, now)
    if user is not None and (wrong := weakness(password, user.name, user.email)):
        return _password_page(request, user, link, wrong)
    # A link that is not good is told from the unit of work below, which notes what has run out.
    password_hash = hash_password(password) if user is not None else ""
    with database.write() as session:
        if passwords.set_password(session, link, password_hash, now) is None:
            return _password_page(request, None, link, USED_UP)
    return RedirectResponse("/sign-in", 303)


def _password_page(request: Request, user: User | None, link: str, mistake: str) -> Response:
    status = 422 if mistake else 200
    return page(request, "accounts/password.html", status, person=user, link=link, mistake=mistake)
