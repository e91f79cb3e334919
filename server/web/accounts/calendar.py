"""Due dates for somebody's own calendar (RFC 5545), by a link that can be made anew."""

from datetime import timedelta
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, HTTPException, Query, Request
from icalendar import Calendar, Event
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from server.settings import Settings
from server.store.calendar_links import (
    DueDate,
    due_dates,
    find_calendar_link,
    make_calendar_link,
    owner_of_link,
    remove_calendar_link,
)
from server.web.access import VisitorHere
from server.web.dependencies import Now, Reading, SettingsHere, Writing
from server.web.rendering import page

router = APIRouter()

ASK_AGAIN = timedelta(hours=1)


@router.get("/calendar")
def calendar_page(request: Request, session: Reading, visitor: VisitorHere) -> Response:
    return _page(request, session, visitor.id)


@router.post("/calendar")
def make_link_of_calendar(
    request: Request, session: Writing, settings: SettingsHere, visitor: VisitorHere, now: Now
) -> Response:
    """Make a link in place of the one before; it is shown once."""
    key = make_calendar_link(session, visitor.id, now)
    return _page(request, session, visitor.id, f"{settings.public_urls[0]}/calendar.ics?key={key}")


@router.post("/calendar/remove")
def remove_link_of_calendar(session: Writing, visitor: VisitorHere) -> Response:
    """Let the link show nothing from now on."""
    remove_calendar_link(session, visitor.id)
    return RedirectResponse("/calendar", 303)


@router.get("/calendar.ics")
def calendar_feed(
    session: Reading,
    settings: SettingsHere,
    now: Now,
    key: Annotated[str, Query(max_length=100)] = "",
) -> Response:
    """Show the due dates of whoever the key belongs to."""
    user_id = owner_of_link(session, key)
    if user_id is None:
        raise HTTPException(404)
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//Rungmark//Due dates//EN")
    calendar.add("x-wr-calname", "Rungmark: due dates")
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for each in due_dates(session, user_id, now):
        calendar.add_component(_event(each, settings, now))
    headers = {"Cache-Control": "private, no-store"}
    return Response(calendar.to_ical(), media_type="text/calendar", headers=headers)


def _event(each: DueDate, settings: Settings, now: Now) -> Event:
    """Return the moment at which something is due; the same event however often it is read."""
    site = settings.public_urls[0]
    event = Event()
    event.add("uid", f"assignment-{each.assignment.id}@{urlsplit(site).hostname}")
    event.add("dtstamp", now)
    event.add("dtstart", each.due_at)
    event.add("summary", f"Due: {each.assignment.title}")
    event.add("description", each.assignment.section.title_with_term)
    event.add("url", f"{site}/assignments/{each.assignment.id}")
    return event


def _page(request: Request, session: Session, user_id: int, link: str = "") -> Response:
    return page(
        request,
        "accounts/calendar.html",
        stored=find_calendar_link(session, user_id),
        link=link,
    )
