"""My data: what is stored about me, who saw it, and what I asked to have corrected."""

from datetime import date, timedelta

import pytest

from server.commands.retention import erase_old
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User, find_person
from server.store.retention import set_retention
from tests.factories import NOON, make_assignment, make_section, make_submission, make_user
from tests.web.lab import ClientFor


@pytest.fixture
def people(database: Database) -> tuple[Assignment, User, User, User]:
    with database.write() as session:
        student = make_user(session, name="Ines Aalto")
        teacher = make_user(session, Role.INSTRUCTOR, "Tomas Berg")
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section)
        make_submission(session, assignment, student)
        return assignment, student, teacher, make_user(session, Role.ADMINISTRATOR)


def test_the_page_names_who_looked_at_ones_grades(
    client_for: ClientFor, people: tuple[Assignment, User, User, User]
) -> None:
    assignment, student, teacher, head = people
    mine, stranger = client_for(student), client_for(head)
    assert "Nobody has looked at your records yet." in mine.get("/my-data").text
    taught = client_for(teacher)
    taught.get(f"/sections/{assignment.section_id}/gradebook")
    taught.get(f"/sections/{assignment.section_id}/students/{student.id}")
    client_for(head).get(f"/people/{student.id}/data.json")
    page = mine.get("/my-data").text
    assert page.count("Tomas Berg") == 2
    assert "saw gradebook" in page
    assert "saw student" in page
    assert f"{head.name}</th><td>exported data" in page
    assert "Tomas Berg" not in stranger.get("/my-data").text
    data = mine.get("/my-data.json").json()
    assert {line["who"] for line in data["who saw it"]} >= {"Tomas Berg", head.name}


def test_ones_own_export_is_in_the_log(
    client_for: ClientFor, people: tuple[Assignment, User, User, User]
) -> None:
    _, student, _, _ = people
    mine = client_for(student)
    mine.get("/my-data.json")
    assert "Ines Aalto</th><td>exported data" in mine.get("/my-data").text


def test_a_correction_is_asked_for_and_answered(
    client_for: ClientFor, people: tuple[Assignment, User, User, User]
) -> None:
    assignment, student, teacher, head = people
    section = assignment.section_id
    mine, taught = client_for(student), client_for(teacher)
    form = {"section": section, "text": "Attempt 1 came on time."}
    assert mine.post("/my-data/corrections", data=form).status_code == 303
    book = taught.get(f"/sections/{section}/gradebook").text
    assert "Attempt 1 came on time." in book
    which = int(book.partition('name="which" value="')[2].partition('"')[0])
    answer = {"which": which, "answer": "The clock was wrong; set right."}
    assert taught.post(f"/sections/{section}/corrections", data=answer).status_code == 303
    assert "Attempt 1" not in taught.get(f"/sections/{section}/gradebook").text
    page = mine.get("/my-data").text
    assert "Tomas Berg answered" in page
    assert "The clock was wrong; set right." in page
    log = taught.get(f"/sections/{section}/log").text
    assert "asked for a correction" in log
    assert "answered a correction" in log
    assert taught.post(f"/sections/{section}/corrections", data=answer).status_code == 404
    asked = client_for(head).post("/my-data/corrections", data=form)
    assert "You are not in that section." in asked.text
    assert "Attempt 1 came on time." in asked.text


def test_open_requests_of_one_person_are_few(
    client_for: ClientFor, people: tuple[Assignment, User, User, User]
) -> None:
    """Threat: a student fills the section's page."""
    assignment, student, _, _ = people
    mine = client_for(student)
    form = {"section": assignment.section_id, "text": "x"}
    answers = [mine.post("/my-data/corrections", data=form) for _ in range(6)]
    assert [answer.status_code for answer in answers] == [303] * 5 + [422]
    assert (
        "The request is empty." in mine.post("/my-data/corrections", data=form | {"text": " "}).text
    )


def test_what_is_past_its_time_is_listed_and_then_erased(
    client_for: ClientFor, database: Database, people: tuple[Assignment, User, User, User]
) -> None:
    _, student, teacher, head = people
    later = NOON.replace(year=2028)
    assert erase_old(database, later, erase=True).startswith("No retention time is set")
    form = {"days": "365"}
    assert client_for(head).post("/college/retention", data={"days": "7"}).status_code == 422
    assert client_for(head).post("/college/retention", data=form).status_code == 303
    assert "for 365 days after" in client_for(student).get("/my-data").text
    line = f"{student.email}: last term ended {date(2026, 12, 18)}, "
    listed = erase_old(database, later, erase=False)
    assert listed == f"{line}would be erased\n1 past 365 days. Nothing is erased without --erase."
    early = erase_old(database, NOON + timedelta(days=200), erase=True)
    assert early == "0 past 365 days. 0 erased."
    held = client_for(head)
    held.post(f"/people/{student.id}/hold", data={"held": "true"})
    refused = held.post(f"/people/{student.id}/erase", data={"email": student.email})
    assert "under a legal hold" in refused.text
    assert erase_old(database, later, erase=True) == "0 past 365 days. 0 erased."
    held.post(f"/people/{student.id}/hold", data={"held": "false"})
    assert erase_old(database, later, erase=True) == f"{line}erased\n1 past 365 days. 1 erased."
    with database.read() as session:
        assert find_person(session, student.id) is None
        assert find_person(session, teacher.id) is not None


def test_data_is_kept_for_good_unless_a_time_is_set(database: Database) -> None:
    with database.write() as session:
        set_retention(session, 400)
        set_retention(session, None)
    assert erase_old(database, NOON, erase=True).startswith("No retention time is set")
