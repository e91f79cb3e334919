"""The administrator's page of people and their data."""

import json
from collections.abc import Sequence
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, HTTPException, Query, Request, UploadFile
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.store import accounts, person_export, privacy, roster_file
from server.store.authored import owners
from server.store.passwords import make_link
from server.store.people import (
    Role,
    User,
    count_people,
    find_person,
    find_user,
    normal_email,
    search_people,
)
from server.store.second_factors import with_factor
from server.web.access import VisitorHere
from server.web.accounts.joining import address_of_link
from server.web.dependencies import (
    Now,
    Reading,
    SettingsHere,
    Writing,
)
from server.web.open_sockets import RECHECK
from server.web.rendering import page
from server.web.spreadsheet import Table, download

router = APIRouter()

SHOWN = 100


@router.get("/people")
def people(
    request: Request, session: Reading, find: Annotated[str, Query(max_length=100)] = ""
) -> Response:
    return _people(request, session, find)


@router.post("/people")
def add_person(
    request: Request,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
    email: Annotated[str, Form(max_length=254)] = "",
    role: Annotated[Role, Form()] = Role.STUDENT,
) -> Response:
    """Make an account; the page shows the link for its first password.

    An unconfirmed account with this address becomes this person's: whoever made it is shut out.
    """
    address = normal_email(email)
    if not roster_file.EMAIL.fullmatch(address) or not name.strip():
        return _people(request, session, "", "A name and an email address are needed. Write both.")
    added = accounts.add_account(session, address, name.strip(), role, by_id=visitor.id, now=now)
    if added is None:
        return _people(request, session, address, f"There is an account with {address} already.")
    user, taken = added
    link = address_of_link(settings, make_link(session, user, now, by_id=visitor.id))
    return _people(request, session, address, "", user, link, taken=taken)


@router.get("/people.csv")
def people_csv(session: Reading) -> Response:
    """Show every account; the file can be imported elsewhere."""
    rows = tuple(
        (
            *(user.email, user.name, user.listed_as, user.student_number or "", user.role.value),
            "yes" if user.confirmed else "no",
            user.disabled_at,
        )
        for user in search_people(session, "")
    )
    columns = ("Email", "Name", "Listed as", "Student number", "Role", "Confirmed", "Disabled")
    return download(Table("People", columns, rows), "people", "csv")


@router.post("/people/import", dependencies=[RECHECK])
def import_people(
    request: Request,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    text: Annotated[str, Form(max_length=1_000_000)] = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Make accounts for the people of a CSV file, all of them or, if a line is wrong, none."""
    if file is not None and file.filename:
        decoded = roster_file.decode_roster(file.file.read())
        if isinstance(decoded, roster_file.RosterFault):
            return _people(request, session, "", str(decoded), text=text)
        text = decoded
    lines, faults = roster_file.read_people(text)
    if faults:
        sentence = "Nothing was stored. Correct these lines and send the file again."
        return _people(request, session, "", sentence, text=text, faults=faults)
    made, had = accounts.add_accounts(session, lines, by_id=visitor.id, now=now)
    told = f"{made} {'account was' if made == 1 else 'accounts were'} made."
    if had:
        told += f" {had} {'person has' if had == 1 else 'people have'} an account already."
    return _people(request, session, "", told=told)


@router.post("/people/{person_id}/link")
def password_link(
    request: Request,
    person_id: int,
    session: Writing,
    settings: SettingsHere,
    visitor: VisitorHere,
    now: Now,
) -> Response:
    """Make a link by which this person sets a new password; it is shown once."""
    user = _person(session, person_id)
    link = address_of_link(settings, make_link(session, user, now, by_id=visitor.id))
    return _people(request, session, user.email, "", user, link)


@router.post("/people/{person_id}/name")
def rename_person(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    name: Annotated[str, Form(max_length=200)] = "",
    listed_as: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Change a name, for somebody who is in several sections for instance."""
    user = _person(session, person_id)
    if not name.strip():
        return _people(request, session, user.email, "The name is missing. Write it.")
    accounts.rename(session, user, name.strip(), listed_as.strip(), by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


@router.post("/people/{person_id}/address")
def change_address(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    email: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Change the address by which somebody signs in."""
    user = _person(session, person_id)
    address = normal_email(email)
    if not roster_file.EMAIL.fullmatch(address):
        sentence = f"{email or 'Nothing'} is not an email address. Correct it."
        return _people(request, session, user.email, sentence)
    if not accounts.change_address(session, user, address, by_id=visitor.id, now=now):
        sentence = f"Another account has {address}. Change or erase that one first."
        return _people(request, session, user.email, sentence)
    return RedirectResponse(f"/people?{urlencode({'find': address})}", 303)


@router.post("/people/{person_id}/names")
def may_see_names(
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    permitted: Annotated[bool, Form()] = False,
) -> Response:
    """Let a member of the department see whose work the figures rest on, or no longer."""
    user = _person(session, person_id)
    accounts.permit_names(session, user, permitted, by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


@router.get("/people/{person_id}/data.json")
def export_person(person_id: int, session: Reading) -> Response:
    """Show all that is stored about a person."""
    return _export(session, _person(session, person_id).id)


@router.get("/my-data.json")
def my_data(session: Reading, visitor: VisitorHere) -> Response:
    """Show all that is stored about oneself."""
    return _export(session, visitor.id)


@router.post("/people/{person_id}/erase", dependencies=[RECHECK])
def erase_person(
    request: Request,
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    email: Annotated[str, Form(max_length=254)] = "",
    successor: Annotated[str, Form(max_length=254)] = "",
) -> Response:
    """Erase a person and their work; the email is typed so that it is not done by a slip.

    ``successor`` is the email of the instructor who gets what the person wrote; the college does,
    if it is empty.
    """
    user = _person(session, person_id)
    if person_id == visitor.id:
        return _people(request, session, user.email, "Nobody can erase their own account.")
    if normal_email(email) != user.email:
        sentence = f"Nothing was erased. Type the email {user.email} to erase this person."
        return _people(request, session, user.email, sentence)
    heir = find_user(session, successor) if successor.strip() else None
    if successor.strip() and (heir is None or heir.role is not Role.INSTRUCTOR or heir is user):
        sentence = (
            f"Nothing was erased. {successor.strip()} is not the email of another instructor. "
            "Correct who gets the exercises, or leave it empty for the college."
        )
        return _people(request, session, user.email, sentence)
    refused = privacy.erasure_refusal(session, person_id)
    if refused:
        return _people(request, session, user.email, refused)
    privacy.erase_person(
        session,
        person_id,
        by_id=visitor.id,
        now=now,
        successor_id=heir.id if heir else None,
    )
    return RedirectResponse("/people", 303)


@router.post("/people/{person_id}/hold")
def hold_data(
    person_id: int,
    session: Writing,
    visitor: VisitorHere,
    now: Now,
    held: Annotated[bool, Form()] = False,
) -> Response:
    """Put a person's data under a legal hold, or lift it: what is held is not erased."""
    user = _person(session, person_id)
    privacy.hold(session, user, held, by_id=visitor.id, now=now)
    return RedirectResponse(f"/people?{urlencode({'find': user.email})}", 303)


def _person(session: Session, person_id: int) -> User:
    user = find_person(session, person_id)
    if user is None:
        raise HTTPException(404)
    return user


def _export(session: Session, user_id: int) -> Response:
    text = json.dumps(person_export.export_person(session, user_id), indent=2, ensure_ascii=False)
    return Response(
        text,
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="my-data.json"'},
    )


def _people(
    request: Request,
    session: Session,
    find: str,
    mistake: str = "",
    linked: User | None = None,
    link: str = "",
    *,
    taken: bool = False,
    text: str = "",
    faults: Sequence[roster_file.RosterFault] = (),
    told: str = "",
) -> Response:
    found = search_people(session, find, SHOWN)
    return page(
        request,
        "college/people.html",
        422 if mistake else 200,
        people=found,
        with_factor=with_factor(session, [user.id for user in found]),
        connected=accounts.connected(session, [user.id for user in found]),
        total=count_people(session),
        shown=SHOWN,
        find=find,
        mistake=mistake,
        linked=linked,
        link=link,
        taken=taken,
        text=text,
        faults=faults,
        told=told,
        authors=owners(session),
        roles=Role,
    )
