"""A new term begins: its section takes over what was set before, and the old one folds away."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.store.audit_chain import Action, AuditEvent
from server.store.author_sandbox import sandbox_assignment
from server.store.courses import (
    SANDBOX_COURSE,
    Assignment,
    Counting,
    Feedback,
    Section,
    SectionRole,
    Term,
)
from server.store.database import Database
from server.store.people import Role, User
from server.store.roll_over import policy_of
from tests.factories import NOON, Clock, make_assignment, make_section, make_user
from tests.web.lab import ClientFor, Lab


@pytest.fixture
def spring(lab: Lab, database: Database) -> Section:
    """The same course's section in the term after, with the same instructor."""
    with database.write() as session:
        lab.assignment = session.get_one(Assignment, lab.assignment.id)
        lab.assignment.counting, lab.assignment.weight = Counting.LAST, 2.5
        lab.assignment.feedback, lab.assignment.attempts = Feedback.SENTENCE, 4
        lab.assignment.closes_at = NOON + timedelta(days=9)
        section = make_section(session, (lab.instructor, SectionRole.INSTRUCTOR))
        section.course_id = lab.assignment.section.course_id
        section.term = Term(name="Spring 2027", begins=date(2027, 1, 11), ends=date(2027, 5, 14))
        session.flush()
        make_assignment(session, lab.assignment.section, exercise="gone", title="Old day tank")
        return section


def test_a_section_takes_over_exercises_policies_and_moved_dates(
    lab: Lab, spring: Section, client_for: ClientFor, database: Database
) -> None:
    client = client_for(lab.instructor)
    address = f"/sections/{spring.id}/roll-over"
    source = lab.assignment.section_id
    # The exercise was due on Monday 12 October, in the eighth week; the eighth week of spring
    # begins on 1 March. The break before it pushes it one week on.
    look: dict[str, str | int] = {
        "source": source,
        "holidays": "2027-02-08 to 2027-02-12 Winter break",
    }
    page = client.get(address, params=look).text
    assert 'value="2027-03-08T12:00"' in page
    assert "no longer published" in page
    with database.read() as session:
        assert session.scalars(select(Assignment).filter_by(section_id=spring.id)).all() == []
    form = {
        "source": source,
        "exercise": lab.assignment.id,
        "take": lab.assignment.id,
        "opens": "2027-03-02T12:00",
        "due": "2027-03-08T12:00",
        "closes": "2027-03-07T12:00",
    }
    refused = client.post(address, data=form)
    assert refused.status_code == 422
    assert 'value="2027-03-07T12:00"' in refused.text
    assert client.post(address, data=form | {"closes": "2027-03-10T12:00"}).status_code == 303
    with database.read() as session:
        (new,) = session.scalars(select(Assignment).filter_by(section_id=spring.id))
        old = session.get_one(Assignment, lab.assignment.id)
        dates: dict[str, Any] = {"opens_at": NOON, "due_at": NOON, "closes_at": None}
        assert replace(policy_of(new), **dates) == replace(policy_of(old), **dates)
        assert (new.weight, new.feedback, new.attempts) == (2.5, Feedback.SENTENCE, 4)
        assert (f"{new.due_at:%m-%d %H}", f"{new.closes_at:%m-%d %H}") == ("03-08 12", "03-10 12")
        (event,) = session.scalars(select(AuditEvent).filter_by(section_id=spring.id))
        assert event.action is Action.SET_EXERCISE
    assert "set here already" in client.get(address, params=look).text


def test_nothing_comes_from_a_section_of_somebody_else(
    lab: Lab, spring: Section, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        foreign = make_assignment(session, make_section(session))
    form = {
        "source": foreign.section_id,
        "exercise": foreign.id,
        "take": foreign.id,
        "opens": "2027-03-02T12:00",
        "due": "2027-03-08T12:00",
        "closes": "",
    }
    client, address = client_for(lab.instructor), f"/sections/{spring.id}/roll-over"
    look = {"source": foreign.section_id, "weeks": 3, "weeks_of": foreign.section_id}
    assert client.get(address, params=look).status_code == 200
    answer = client.post(address, data=form)
    assert answer.status_code == 422
    with database.read() as session:
        assert session.scalars(select(Assignment).filter_by(section_id=spring.id)).all() == []


def test_the_earlier_term_folds_away_once_it_is_over(
    lab: Lab, spring: Section, client_for: ClientFor, clock: Clock
) -> None:
    assert "Earlier terms" not in client_for(lab.instructor).get("/").text
    clock.now = datetime(2027, 2, 1, 12, tzinfo=UTC)
    current, earlier = client_for(lab.instructor).get("/").text.split("Earlier terms: 1 section")
    assert ("Spring 2027" in current, "Spring 2027" in earlier) == (True, False)
    # Who has no other section looks at it still.
    assert "Earlier terms" not in client_for(lab.student).get("/").text


@pytest.fixture
def head(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.ADMINISTRATOR)


def test_terms_courses_and_sections_are_changed_archived_and_deleted_when_empty(
    lab: Lab, spring: Section, head: User, client_for: ClientFor, database: Database
) -> None:
    client = client_for(head)
    term = f"/terms/{spring.term_id}"
    form = {"name": "Spring 27", "begins": "2027-01-12", "ends": "2027-05-14"}
    bad = client.post(term, data=form | {"holidays": "soon"})
    assert bad.status_code == 422
    assert ">soon</textarea>" in bad.text
    assert 'value="Spring 27"' in bad.text
    assert client.post(term, data=form | {"holidays": "2027-03-01 Founders"}).status_code == 303
    page = client.get("/courses").text
    assert "2027-03-01 Founders" in page
    assert page.count(f'<option value="{spring.term_id}"') == 1
    client.post(term, data=form | {"archived": "true"})
    page = client.get("/courses").text
    assert f'<option value="{spring.term_id}"' not in page
    assert "Archived: 1 section" in page
    # It is offered nowhere, and its instructor finds it folded.
    assert "Earlier terms: 1 section" in client_for(lab.instructor).get("/").text

    course = client.post(f"/courses/{spring.course_id}/delete")
    assert (course.status_code, "has 2 sections" in course.text) == (422, True)
    old = client.post(f"/sections/{lab.assignment.section_id}/delete")
    assert (old.status_code, "has 2 exercises" in old.text) == (422, True)
    assert client.post(f"{term}/delete").status_code == 422
    assert client.post(f"/sections/{spring.id}/delete").status_code == 303
    assert client.post(f"{term}/delete").status_code == 303
    with database.read() as session:
        assert session.get(Section, spring.id) is None
        assert session.get(Term, spring.term_id) is None


def test_a_name_that_is_another_ones_is_refused(
    lab: Lab, spring: Section, head: User, client_for: ClientFor, database: Database
) -> None:
    with database.read() as session:
        other = session.get_one(Section, lab.assignment.section_id).term.name
    form = {"name": other, "begins": "2027-01-12", "ends": "2027-05-14"}
    answer = client_for(head).post(f"/terms/{spring.term_id}", data=form)
    assert (answer.status_code, "There is one of this name already" in answer.text) == (422, True)


def test_the_course_of_drafts_is_none_of_the_colleges(
    lab: Lab, spring: Section, head: User, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        draft = sandbox_assignment(session, lab.instructor.id, "bench.pit", "Pit", NOON)
        course = draft.section.course_id
    client = client_for(head)
    named = {"code": SANDBOX_COURSE, "title": "Test benches"}
    assert client.post(f"/courses/{course}/delete").status_code == 404
    assert client.post(f"/courses/{course}", data=named | {"code": "AUT 9"}).status_code == 404
    assert client.post("/courses", data=named).status_code == 422
    assert client.post(f"/courses/{spring.course_id}", data=named).status_code == 422
