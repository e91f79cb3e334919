"""The roster of a section from its learning-management system, with the same preview as a CSV."""

import csv
import io
from datetime import datetime
from functools import partial

from fastapi import APIRouter, HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.remote.http import NoAnswer, NotTaken
from server.remote.launch import names
from server.remote.outbox import explain_refusal
from server.remote.own_keys import KeyTrouble
from server.remote.roles import role_of
from server.remote.services import Member, Services
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.lti import LtiContext
from server.store.lti_choices import contexts_of, known_people
from server.store.lti_members import bind_members, note_members
from server.store.lti_roles import LmsSource, follow_members
from server.store.people import User
from server.web.access import VisitorHere
from server.web.dependencies import DatabaseHere, Now, Reading, ServicesHere, release_connection
from server.web.errands import ErrandsHere
from server.web.sections.roster import roster_preview, show_roster

router = APIRouter()


@router.post("/sections/{section_id}/roster/lms")
async def roster_from_lms(
    request: Request,
    section_id: int,
    session: Reading,
    database: DatabaseHere,
    visitor: VisitorHere,
    services: ServicesHere,
    errands: ErrandsHere,
    now: Now,
) -> Response:
    """Show what the members of the LMS's course would change.

    Nothing of that is stored yet, but what the LMS says of roles that it gave itself holds at once.
    """
    contexts = await run_in_threadpool(_contexts, session, section_id)
    try:
        members = await errands.run(partial(_members, services, contexts, now))
    except (NoAnswer, NotTaken, KeyTrouble) as trouble:
        sentence = explain_refusal(trouble) if isinstance(trouble, NotTaken) else str(trouble)
        mistake = f"{sentence} The section is as it was."
        return await run_in_threadpool(show_roster, request, session, section_id, mistake)
    kept = await run_in_threadpool(_follow, database, section_id, members, visitor.id, now)
    return await run_in_threadpool(_preview, request, session, section_id, members, kept)


def _contexts(session: Session, section_id: int) -> list[LtiContext]:
    contexts = contexts_of(session, section_id)
    if not contexts:
        raise HTTPException(404)
    # No connection is held while another server is asked.
    release_connection(session)
    return contexts


def _members(
    services: Services, contexts: list[LtiContext], now: datetime
) -> list[tuple[LtiContext, list[Member]]]:
    """Return everybody in each of the courses. Raises NoAnswer, NotTaken and KeyTrouble."""
    return [
        (context, services.members(context, context.memberships_url or "", now))
        for context in contexts
    ]


def _follow(
    database: Database,
    section_id: int,
    found: list[tuple[LtiContext, list[Member]]],
    visitor_id: int,
    now: datetime,
) -> list[User]:
    """Bring the LMS's own roles up to date, and note to whom grades go who has not come yet.

    Return who stays as the section's last instructor.
    """
    said: dict[int, SectionRole | None] = {}
    with database.write() as session:
        for context, members in found:
            known = known_people(session, context.platform_id)
            note_members(session, context.platform_id, _students(members))
            for member in members:
                user, role = known.get(member.user_id), role_of(member.roles)
                # Who is in several of the courses is what the first one says.
                if user is not None and member.status == "Active" and not said.get(user.id):
                    said[user.id] = role
        bind_members(session, section_id, now)
        word = LmsSource(found[0][0].platform.name, visitor_id, now)
        return follow_members(session, section_id, said, word)


def _students(members: list[Member]) -> dict[str, str]:
    """Addresses of the students who are active, by subject."""
    return {
        member.user_id: member.email or ""
        for member in members
        if member.status == "Active" and role_of(member.roles) is SectionRole.STUDENT
    }


def _preview(
    request: Request,
    session: Session,
    section_id: int,
    found: list[tuple[LtiContext, list[Member]]],
    kept: list[User],
) -> Response:
    rows: dict[str, tuple[str, str, str, str]] = {}
    nameless = 0
    for context, members in found:
        known = known_people(session, context.platform_id)
        for member in members:
            row = _row(member, known.get(member.user_id))
            if row is not None:
                rows[row[0]] = row
            elif member.status == "Active" and role_of(member.roles) is SectionRole.STUDENT:
                nameless += 1
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(("Email", "Name", "Listed as", "Role"))
    writer.writerows(rows.values())
    remarks = [
        f"{user.name} does not teach the course in the LMS any more, but is the only instructor of "
        "the section. Add another instructor, then take them out."
        for user in kept
    ]
    if nameless:
        remarks.append(
            f"The LMS keeps the addresses of {nameless} to itself; "
            "they come in when they first open a link."
        )
    remark = " ".join(remarks)
    return roster_preview(request, session, section_id, text.getvalue(), remark, from_lms=True)


def _row(member: Member, user: User | None) -> tuple[str, str, str, str] | None:
    """Return a line of the roster; None for who has left, teaches, or can't be told apart."""
    role = role_of(member.roles)
    email = user.email if user else (member.email or "")
    name, listed_as = names(member.name, member.given_name, member.family_name)
    if role not in (SectionRole.STUDENT, SectionRole.GRADER) or member.status != "Active":
        return None
    if not email:
        return None
    return email.strip().lower(), name or (user.name if user else ""), listed_as, role.value
