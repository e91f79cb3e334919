"""The class view while the lab is on; it brings itself up to date."""

from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from server.store.courses import SectionRole, role_in_section
from server.store.lab_seats import labs_now
from server.store.live_class import LAB
from server.store.live_class import read_live_class as read_lab_hour
from server.web.access import Visitor, VisitorHere
from server.web.dependencies import Now, Reading
from server.web.gradebook.pages import section_here
from server.web.rendering import fragment, page

router = APIRouter()


@router.get("/sections/{section_id}/lab")
def live_class(
    request: Request, section_id: int, session: Reading, visitor: VisitorHere, now: Now
) -> Response:
    context = _context(session, section_id, visitor, now)
    return page(request, "sections/live_class.html", **context)


@router.get("/sections/{section_id}/lab/now")
def live_class_now(
    request: Request, section_id: int, session: Reading, visitor: VisitorHere, now: Now
) -> Response:
    """Show the part that is asked for again and again."""
    context = _context(session, section_id, visitor, now)
    return fragment(request, "sections/_live_class_now.html", **context)


def _context(session: Session, section_id: int, visitor: Visitor, now: Now) -> dict[str, Any]:
    role = role_in_section(session, visitor.id, section_id)
    return {
        "instructs": role is SectionRole.INSTRUCTOR,
        "section": section_here(session, section_id),
        "hour": read_lab_hour(session, section_id, now),
        "labs": labs_now(session, section_id, now),
        "hours": int(LAB.total_seconds() // 3600),
        "now": now,
    }
