"""The catalogue of outcomes by term, what it feeds, who is counted, and actions below target."""

import re
from collections.abc import Mapping
from typing import Any

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.store.corrections import excuse
from server.store.course_changes import delete_from_college
from server.store.courses import Assignment, Enrolment, Section, SectionRole, Term, students_of
from server.store.database import Database
from server.store.outcome_actions import OutcomeAction
from server.store.people import User
from server.store.report_work import work_of
from tests.factories import NOON, make_marked
from tests.web.lab import ClientFor
from tests.web.reports.test_reports import MET, course_over

FORM: Mapping[str, Any] = {"statement": "Stops.", "level": 70, "share": 80, "listed": "true"}


@pytest.fixture
def course(client_for: ClientFor, database: Database) -> tuple[TestClient, int, list[int]]:
    """Two terms of four students: the first outcome is reached by one, then by three of them."""
    head, course, terms = course_over(database, [(1, 4), (3, 4)])
    return client_for(head), course, terms


def named(client: TestClient, course: int) -> str:
    """The outcome of R1, which is what some students of each term have not met."""
    page = client.get(f"/reports/{course}").text
    row = next(row for row in page.split("<tr>") if "3 of 4" in row)
    found = re.search(r'class="under mono">([\w-]+)<', row)
    assert found is not None
    return found[1]


def save(client: TestClient, course: int, **form: object) -> int:
    answer = client.post(f"/reports/{course}/outcomes", data={**FORM, **form})
    return answer.status_code


def test_an_outcome_holds_from_its_term_on(
    course: tuple[TestClient, int, list[int]], database: Database
) -> None:
    client, id, (first, second) = course
    name = named(client, id)
    assert "not in the catalogue" in client.get(f"/reports/{id}").text
    assert save(client, id, outcome=name, term=first, share=20) == 303
    assert save(client, id, outcome=name, term=second, share=76, statement="Stops at once.") == 303
    then, now = (client.get(f"/reports/{id}?term={term}").text for term in (first, second))
    assert "Stops. <" in then
    assert "20\u202f% with 70\u202f%" in then
    assert "Stops at once. <" in now
    assert "76\u202f% with 70\u202f%" in now
    # 3 of 4 is less than 76 %, 1 of 4 more than 20 %.
    assert now.count("below target") == then.count("below target") + 1
    # Saved once more, the version of the term is replaced.
    assert save(client, id, outcome=name, term=second, share=75) == 303
    assert client.get(f"/reports/{id}").text.count("below target") == then.count("below target")
    with database.write() as session:
        session.delete(session.scalars(select(Section).where(Section.term_id == first)).one())
        session.flush()
        refused = delete_from_college(session, session.get_one(Term, first))
        assert refused.startswith("Outcomes, actions or signatures refer to Year 0")
    client.post(f"/reports/{id}/outcomes/delete", data={"outcome": name, "term": second})
    assert "20\u202f% with 70\u202f%" in client.get(f"/reports/{id}").text


def test_what_no_work_tells_of_is_named_and_nothing_typed_is_lost(
    course: tuple[TestClient, int, list[int]],
) -> None:
    client, id, (_, second) = course
    assert save(client, id, outcome="wiring", term=second, statement="Wires a stop button.") == 303
    report = client.get(f"/reports/{id}").text
    assert "Not assessed in Year 1: Wires a stop button." in report
    for wrong in ({"share": 101}, {"statement": " "}, {"outcome": ""}, {"term": 999}):
        form = {
            **FORM,
            "outcome": "drawing",
            "term": second,
            "statement": "Reads & draws.",
            **wrong,
        }
        answer = client.post(f"/reports/{id}/outcomes", data=form)
        assert answer.status_code == 422
        assert 'role="alert"' in answer.text
        if "statement" not in wrong:
            assert "Reads &amp; draws." in answer.text
    assert "drawing" not in client.get(f"/reports/{id}/outcomes").text


def test_program_outcomes_show_what_feeds_them(
    course: tuple[TestClient, int, list[int]],
) -> None:
    client, id, (first, second) = course
    name = named(client, id)
    for code in ("P1", "P2"):
        client.post("/program-outcomes", data={"code": code, "statement": f"Can do {code}."})
    taken = client.post("/program-outcomes", data={"code": "P2", "statement": "Other"})
    assert (taken.status_code, "Other" in taken.text) == (422, True)
    assert save(client, id, outcome=name, term=first, feeds=["1"]) == 303
    page = client.get(f"/program-outcomes?term={second}").text
    assert "0 of 1 on target" in page
    assert "3 of 4" in page
    assert "1 of 4" in client.get(f"/program-outcomes?term={first}").text
    refused = client.post("/program-outcomes/1/delete")
    assert (refused.status_code, "P1 is fed by" in refused.text) == (422, True)
    assert client.post("/program-outcomes/2/delete").status_code == 303
    page = client.get("/program-outcomes").text
    assert ("Can do P1." in page, "Can do P2." in page) == (True, False)


def test_who_has_withdrawn_is_excused_or_incomplete_is_not_counted(database: Database) -> None:
    _, id, _ = course_over(database, [(1, 5)])
    with database.write() as session:
        assignment = session.scalars(select(Assignment)).one()
        ids = session.scalars(select(User.id).where(User.name.startswith("Secret"))).all()
        withdrawn, incomplete, excused, *counted = sorted(ids)
        place = assignment.section_id
        session.get_one(Enrolment, (place, withdrawn)).role = SectionRole.WITHDRAWN
        session.get_one(Enrolment, (place, incomplete)).incomplete = True
        excuse(session, assignment, excused, "Was ill.", by_id=counted[0], now=NOON)
        assert [each.user_id for each in work_of(session, id)] == counted


def test_an_action_keeps_its_figures_and_ends_with_a_later_term(
    course: tuple[TestClient, int, list[int]], database: Database
) -> None:
    client, id, (first, second) = course
    name = named(client, id)
    form = {
        "term": first,
        "outcome": name,
        "finding": "Stop & start were mixed up.",
        "action": "A second bench hour.",
        "responsible": "Course lead",
        "due": "2021-03-01",
    }
    address = f"/reports/{id}/actions"
    for wrong in ({"due": "soon"}, {"action": " "}, {"outcome": "none"}, {"term": 999}):
        refused = client.post(address, data={**form, **wrong})
        assert refused.status_code == 422
        assert "Stop &amp; start were mixed up." in refused.text
    assert client.post(address, data=form).status_code == 303
    with database.write() as session:
        # The work of the first term is marked better later on.
        again = session.scalars(
            select(Assignment).join(Section).where(Section.term_id == first)
        ).one()
        for student in students_of(session, again.section_id):
            make_marked(session, again, student, 2, R1=MET, R2a=MET)
    page = client.get(address).text
    assert "1 of 4, target 80" in page
    assert "overdue" in page
    assert "Year 1: 75\u202f% of 4" in page
    report = client.get(f"/reports/{id}?term={second}").text
    assert f'outcome={name}">1 action' in report
    early = client.post(f"{address}/1", data={"result": "It helped.", "result_term": first})
    assert (early.status_code, "It helped." in early.text) == (422, True)
    assert "Year 0 is not later than Year 0" in early.text
    done = client.post(f"{address}/1", data={"result": "It helped.", "result_term": second})
    assert done.status_code == 303
    page = client.get(address).text
    assert "Result, Year 1:</strong> It helped." in page
    assert "closed by" in page
    file = client.get(f"/reports/{id}/report.csv?table=actions").content.decode("utf-8-sig")
    assert file.splitlines()[1].startswith(f"Year 0,{name},4,1,")
    client.post(f"{address}/1", data={"result": ""})
    with database.read() as session:
        action = session.get_one(OutcomeAction, 1)
        assert (action.result, action.closed_at, action.result_term_id) == ("", None, None)
    assert client.post(f"{address}/2", data={"result": "x"}).status_code == 404
