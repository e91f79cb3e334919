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
from server.remote.launch import names, role_of
from server.remote.outbox import mend
from server.remote.own_keys import KeyTrouble
from server.remote.services import Member, Services
from server.store.courses import SectionRole
from server.store.lti import LtiContext
from server.store.lti_choices import contexts_of, known_people
from server.store.people import User
from server.web.dependencies import Now, Reading, ServicesHere, let_go
from server.web.errands import ErrandsHere
from server.web.rosters import roster_preview, show_roster

router = APIRouter()


@router.post("/sections/{section_id}/roster/lms")
async def roster_from_lms(
    request: Request,
    section_id: int,
    session: Reading,
    services: ServicesHere,
    errands: ErrandsHere,
    now: Now,
) -> Response:
    """What the members of the LMS's course would change; nothing is stored."""
    contexts = await run_in_threadpool(_contexts, session, section_id)
    try:
        members = await errands.run(partial(_members, services, contexts, now))
    except (NoAnswer, NotTaken, KeyTrouble) as trouble:
        sentence = mend(trouble) if isinstance(trouble, NotTaken) else str(trouble)
        kept = f"{sentence} The section is as it was."
        return await run_in_threadpool(show_roster, request, session, section_id, kept)
    return await run_in_threadpool(_preview, request, session, section_id, members)


def _contexts(session: Session, section_id: int) -> list[LtiContext]:
    contexts = contexts_of(session, section_id)
    if not contexts:
        raise HTTPException(404)
    # No connection is held while another server is asked.
    let_go(session)
    return contexts


def _members(
    services: Services, contexts: list[LtiContext], now: datetime
) -> list[tuple[LtiContext, list[Member]]]:
    """Everybody in each of the courses. Raises NoAnswer, NotTaken and KeyTrouble."""
    return [
        (context, services.members(context.platform, context.memberships_url or "", now))
        for context in contexts
    ]


def _preview(
    request: Request,
    session: Session,
    section_id: int,
    found: list[tuple[LtiContext, list[Member]]],
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
    remark = (
        f"The LMS keeps the addresses of {nameless} to itself; "
        "they come in when they first open a link."
        if nameless
        else ""
    )
    return roster_preview(request, session, section_id, text.getvalue(), remark)


def _row(member: Member, user: User | None) -> tuple[str, str, str, str] | None:
    """A line of the roster; None for who has left, teaches, or can't be told apart."""
    role = role_of(member.roles)
    email = user.email if user else (member.email or "")
    name, listed_as = names(member.name, member.given_name, member.family_name)
    if role not in (SectionRole.STUDENT, SectionRole.GRADER) or member.status != "Active":
        return None
    if not email:
        return None
    return email.strip().lower(), name or (user.name if user else ""), listed_as, role.value
