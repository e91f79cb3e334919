"""Joining by code: a class at once, wrong codes, and what an unconfirmed account may not do."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import select

from server.store import join_codes
from server.store.addresses import claim_address
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Enrolment, Section, SectionRole, students_of
from server.store.database import Database
from server.store.people import Origin, Role, User, find_user
from tests.factories import NOON, PASSWORD, Clock, make_section, make_user
from tests.web.lab import ClientFor, Lab

TA = "ta@larkmoor.example"
NEW = "quince-press-9"


@pytest.fixture
def code(lab: Lab, database: Database) -> str:
    with database.write() as session:
        section = session.get_one(Section, lab.assignment.section_id)
        return join_codes.new_join_code(session, section)


def join(client_for: ClientFor, code: str, email: str = TA) -> int:
    form = {"code": code, "name": "Ada Quint", "email": email, "password": PASSWORD}
    return client_for(None).post("/join", data=form).status_code


def account(database: Database, email: str = TA) -> User:
    with database.read() as session:
        user = find_user(session, email)
    assert user is not None
    return user


def test_a_class_joins_at_once_from_one_address(
    lab: Lab, client_for: ClientFor, database: Database, code: str
) -> None:
    with ThreadPoolExecutor(8) as pool:
        emails = [f"student{number}@larkmoor.example" for number in range(40)]
        answers = list(pool.map(lambda email: join(client_for, code, email), emails))
    assert answers == [303] * 40
    with database.read() as session:
        assert len(students_of(session, lab.assignment.section_id)) == 42


def test_wrong_codes_are_counted_and_the_right_one_lets_in_all_the_same(
    client_for: ClientFor, code: str, monkeypatch: pytest.MonkeyPatch, clock: Clock
) -> None:
    monkeypatch.setattr(join_codes, "WRONG_CODES", 3)
    assert [join(client_for, "WRONG") for _ in range(5)] == [422, 422, 422, 429, 429]
    assert join(client_for, code) == 303
    clock.now += timedelta(minutes=15)
    assert join(client_for, "WRONG", "other@larkmoor.example") == 422


def test_an_account_that_guesses_codes_waits_itself_alone(
    lab: Lab,
    client_for: ClientFor,
    database: Database,
    monkeypatch: pytest.MonkeyPatch,
    clock: Clock,
) -> None:
    monkeypatch.setattr(join_codes, "WRONG_CODES", 2)
    with database.write() as session:
        other = join_codes.new_join_code(session, make_section(session))

    def joins(user: User, code: str) -> int:
        return client_for(user).post("/sections/join", data={"code": code}).status_code

    assert [joins(lab.student, "WRONG") for _ in range(3)] == [422, 422, 429]
    assert joins(lab.student, other) == 429
    assert joins(lab.classmate, other) == 303
    clock.now += timedelta(minutes=15)
    assert joins(lab.student, other) == 303


def test_a_joined_account_is_no_grader_until_its_instructor_has_confirmed_it(
    lab: Lab, client_for: ClientFor, database: Database, code: str
) -> None:
    join(client_for, code)
    user, section_id = account(database), lab.assignment.section_id
    assert (user.confirmed, user.origin) == (False, Origin.JOIN_CODE)
    assert client_for(user).get("/").status_code == 200
    client, address = client_for(lab.instructor), f"/sections/{section_id}/roster"
    attempts = (
        (f"{address}/person", {"email": TA, "role": "grader"}),
        (f"{address}/person", {"email": TA, "role": "instructor"}),
        (f"{address}/preview", {"text": f"Email,Name,Role\n{TA},Ada Quint,grader\n"}),
        (address, {"text": f"Email,Name,Role\n{TA},Ada Quint,grader\n"}),
    )
    for place, form in attempts:
        assert client.post(place, data=form).status_code == 422, (place, form)
    page = client.get(address).text
    assert "Confirm all 1" in page
    answer = client.post(f"{address}/confirm", data={"person": [str(user.id)]})
    assert answer.status_code == 303
    assert "Confirm all" not in client.get(address).text
    # In this section; elsewhere it is as unknown as before.
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        other = make_section(session, (teacher, SectionRole.INSTRUCTOR))
    elsewhere = client_for(teacher)
    for role, status in (("grader", 422), ("student", 303), ("grader", 422)):
        form = {"email": TA, "role": role}
        place = f"/sections/{other.id}/roster/person"
        assert elsewhere.post(place, data=form).status_code == status
    assert client.post(f"{address}/person", data=attempts[0][1]).status_code == 303
    with database.read() as session:
        (event,) = session.scalars(
            select(AuditEvent).where(AuditEvent.action == Action.CONFIRMED_ACCOUNT)
        )
        assert (event.actor, event.person) == (lab.instructor.log_id, user.log_id)


def test_an_account_of_another_section_s_roster_is_no_grader_here(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    """Its password may be known to the instructor of that section."""
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        other = make_section(session, (teacher, SectionRole.INSTRUCTOR))
    text = f"Email,Name,Role\n{TA},Ada Quint,grader\n"
    assert client_for(teacher).post(f"/sections/{other.id}/roster", data={"text": text})
    address = f"/sections/{lab.assignment.section_id}/roster"
    client = client_for(lab.instructor)
    assert client.post(address, data={"text": text}).status_code == 422
    student = {"text": text.replace("grader", "student")}
    assert client.post(address, data=student).status_code == 303
    assert client.post(address, data={"text": text}).status_code == 422


def test_who_joins_while_the_roster_is_shown_is_not_confirmed_unseen(
    lab: Lab, client_for: ClientFor, database: Database, code: str
) -> None:
    join(client_for, code)
    client, address = client_for(lab.instructor), f"/sections/{lab.assignment.section_id}/roster"
    shown = re.search(r'<form [^>]*/confirm">(.*?)Confirm all', client.get(address).text)
    assert shown is not None
    join(client_for, code, "late@larkmoor.example")
    persons = re.findall(r'name="person" value="(\d+)"', shown[1])
    client.post(f"{address}/confirm", data={"person": persons})
    with database.read() as session:
        late = session.get_one(
            Enrolment, (lab.assignment.section_id, account(database, "late@larkmoor.example").id)
        )
        assert not late.confirmed


def test_an_administrator_adds_the_owner_of_an_address_that_somebody_took(
    lab: Lab, client_for: ClientFor, database: Database, code: str
) -> None:
    join(client_for, code)
    squatter = client_for(account(database))
    client_for(lab.instructor).post(
        f"/sections/{lab.assignment.section_id}/roster/confirm",
        data={"person": [str(account(database).id)]},
    )
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    head = client_for(administrator)
    form = {"name": "Ida Quint", "email": TA, "role": "instructor"}
    answer = head.post("/people", data=form)
    assert answer.status_code == 200
    assert "its old password no longer works" in answer.text
    assert squatter.get("/").status_code == 303
    nobody = client_for(None)
    assert nobody.post("/sign-in", data={"email": TA, "password": PASSWORD}).status_code == 422
    user = account(database)
    assert (user.role, user.name, user.confirmed) == (Role.INSTRUCTOR, "Ida Quint", True)
    found = re.search(r"/password\?link=([\w-]+)", answer.text)
    assert found is not None
    nobody.post("/password", data={"link": found[1], "password": NEW})
    assert nobody.post("/sign-in", data={"email": TA, "password": NEW}).status_code == 303
    # Now it is taken, and by its owner.
    assert head.post("/people", data=form).status_code == 422


def test_the_owner_s_own_sign_in_shuts_out_who_took_the_address(
    lab: Lab, client_for: ClientFor, database: Database, code: str
) -> None:
    join(client_for, code)
    squatter = client_for(account(database))
    with database.write() as session:
        claim_address(session, session.get_one(User, account(database).id), NOON)
    assert squatter.get("/").status_code == 303
    assert account(database).password_hash is None
    # The work and the place in the section stay.
    with database.read() as session:
        assert account(database).id in {
            each.id for each in students_of(session, lab.assignment.section_id)
        }


def test_unconfirmed_accounts_of_a_section_are_bounded(
    lab: Lab,
    client_for: ClientFor,
    database: Database,
    code: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(join_codes, "MOST_UNCONFIRMED", 2)
    emails = [f"student{number}@larkmoor.example" for number in range(3)]
    assert [join(client_for, code, email) for email in emails] == [303, 303, 422]
    ids = [str(account(database, email).id) for email in emails[:2]]
    client, address = client_for(lab.instructor), f"/sections/{lab.assignment.section_id}/roster"
    client.post(f"{address}/confirm", data={"person": ids[:1]})
    assert join(client_for, code, emails[2]) == 303
    client.post(f"{address}/leave", data={"person": ids[1:]})
    assert join(client_for, code, "last@larkmoor.example") == 303


def test_the_last_instructor_keeps_the_role_however_it_is_tried(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    section_id = lab.assignment.section_id
    client, address = client_for(lab.instructor), f"/sections/{section_id}/roster"
    email, person = lab.instructor.email, str(lab.instructor.id)
    for role in ("student", "grader"):
        answer = client.post(f"{address}/person", data={"email": email, "role": role})
        assert answer.status_code == 422
        assert "only instructor" in answer.text
    with database.write() as session:
        second = make_user(session, Role.INSTRUCTOR)
    client.post(f"{address}/person", data={"email": second.email, "role": "instructor"})
    both = {"person": [person, str(second.id)]}
    assert client.post(f"{address}/leave", data=both).status_code == 422
    assert client.post(f"{address}/person", data={"email": email, "role": "grader"}).is_redirect
    with database.read() as session:
        assert session.get_one(Enrolment, (section_id, second.id)).role is SectionRole.INSTRUCTOR


def test_an_instructor_renames_nobody_who_is_in_another_section(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        make_section(session, (lab.student, SectionRole.STUDENT))
        administrator = make_user(session, Role.ADMINISTRATOR)
    head = client_for(administrator)
    text = f"Email,Name\n{lab.student.email},Rude Name\n{lab.classmate.email},Ida New\n"
    client, address = client_for(lab.instructor), f"/sections/{lab.assignment.section_id}/roster"
    preview = client.post(f"{address}/preview", data={"text": text}).text
    assert "an administrator can change them" in preview
    assert client.post(address, data={"text": text}).status_code == 303
    assert account(database, lab.student.email).name == lab.student.name
    assert account(database, lab.classmate.email).name == "Ida New"
    renamed = head.post(f"/people/{lab.student.id}/name", data={"name": "Uma Olsen"})
    assert renamed.status_code == 303
    user = account(database, lab.student.email)
    assert (user.name, user.listed_as) == ("Uma Olsen", "Olsen, Uma")
