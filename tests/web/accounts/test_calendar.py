"""The calendar feed, read by a calendar library."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any

from icalendar import Calendar

from server.store.accounts import disable_account
from server.store.assignment_policy import give_time
from server.store.corrections import excuse
from server.store.courses import Term
from server.store.database import Database
from server.store.people import User
from tests.factories import NOON, Clock, make_assignment
from tests.web.lab import ClientFor, Lab


def link_of(client_for: ClientFor, user: User) -> str:
    found = re.search(r"/calendar\.ics\?key=[\w-]+", client_for(user).post("/calendar").text)
    assert found is not None
    return found[0]


def dates(client_for: ClientFor, link: str) -> dict[str, datetime]:
    """What a calendar that is signed in nowhere sees, by summary."""
    answer = client_for(None).get(link)
    assert answer.headers["content-type"].startswith("text/calendar")
    return {
        str(event["summary"]): event.decoded("dtstart")
        for event in Calendar.from_ical(answer.content).walk("VEVENT")
    }


def test_a_calendar_shows_each_persons_own_due_dates(
    lab: Lab, client_for: ClientFor, database: Database, clock: Clock
) -> None:
    later = NOON + timedelta(days=9)
    with database.write() as session:
        section = lab.assignment.section
        term = session.get_one(Term, section.term_id)
        title = "Crates; labels, \\ and a title so long that no line of the file holds it: é"
        make_assignment(session, section, title=title)
        excused = make_assignment(session, section, title="Excused")
        by: dict[str, Any] = {"by_id": lab.instructor.id, "now": NOON}
        give_time(session, lab.assignment, lab.student.id, later, "ill", **by)
        excuse(session, excused, lab.student.id, "ill", **by)
    own, class_ = (link_of(client_for, each) for each in (lab.student, lab.instructor))
    due = datetime(2026, 10, 12, 12, tzinfo=UTC)
    assert dates(client_for, own) == {"Due: Apple wash sump": later, f"Due: {title}": due}
    assert dates(client_for, class_) == {
        f"Due: {each}": due for each in ("Apple wash sump", "Excused", title)
    }
    assert b"ill" not in client_for(None).get(own).content
    # The term is over: nothing is due any more.
    clock.now = datetime.combine(term.ends, NOON.time(), UTC) + timedelta(days=1)
    assert dates(client_for, own) == {}


def test_a_link_is_good_until_another_is_made_or_the_account_is_disabled(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    nobody = client_for(None)
    first = link_of(client_for, lab.student)
    assert first not in client_for(lab.student).get("/calendar").text
    second = link_of(client_for, lab.student)
    assert [nobody.get(each).status_code for each in (first, second)] == [404, 200]
    client_for(lab.student).post("/calendar/remove")
    assert nobody.get(second).status_code == 404
    third = link_of(client_for, lab.student)
    with database.write() as session:
        disable_account(session, session.get_one(User, lab.student.id), by_id=None, now=NOON)
    assert nobody.get(third).status_code == 404
    assert nobody.get("/calendar.ics").status_code == 404
