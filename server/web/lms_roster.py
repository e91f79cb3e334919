"""The roster of a section from its learning-management system, with the same preview as a CSV."""

import csv
import io

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from server.remote.http import NoAnswer, NotTaken
from server.remote.launch import names, role_of
from server.remote.outbox import mend
from server.remote.own_keys import KeyTrouble
from server.remote.services import Member
from server.store.courses import SectionRole
from server.store.lti_choices import contexts_of, known_people
from server.store.people import User
from server.web.dependencies import Now, Reading, ServicesHere
from server.web.rosters import roster_preview, show_roster

router = APIRouter()


@router.post("/sections/{section_id}/roster/lms")
def roster_from_lms(
    request: Request, section_id: int, session: Reading, services: ServicesHere, now: Now
) -> Response:
    """What the members of the LMS's course would change; nothing is stored."""
    contexts = contexts_of(session, section_id)
    if not contexts:
        raise HTTPException(404)
    rows: dict[str, tuple[str, str, str, str]] = {}
    nameless = 0
    for context in contexts:
        known = known_people(session, context.platform_id)
        try:
            members = services.members(context.platform, context.memberships_url or "", now)
        except (NoAnswer, NotTaken, KeyTrouble) as trouble:
            sentence = mend(trouble) if isinstance(trouble, NotTaken) else str(trouble)
            return show_roster(
                request, session, section_id, f"{sentence} The section is as it was."
            )
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
