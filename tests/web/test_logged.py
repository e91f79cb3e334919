"""Who opened or closed a door, handed out data or looked at work is in the log."""

from collections.abc import Iterable

import pytest
from sqlalchemy import select

from server.marking.verdict import Status
from server.store.audit_chain import Action, AuditEvent, check_chain
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import PASSWORD, make_marked, make_section, make_user
from tests.web.lab import ClientFor, Lab
from tests.web.lti.test_platforms import FORM

Line = tuple[Action, str | None, str | None, str]


@pytest.fixture
def people(database: Database) -> tuple[User, User]:
    """An administrator, and somebody who is in no section yet."""
    with database.write() as session:
        return make_user(session, Role.ADMINISTRATOR), make_user(session)


def lines(database: Database) -> list[Line]:
    with database.read() as session:
        assert check_chain(session).faults == ()
        found = session.scalars(select(AuditEvent).order_by(AuditEvent.number))
        return [(each.action, each.actor, each.person, each.detail) for each in found]


def actions(found: Iterable[Line]) -> list[Action]:
    return [each[0] for each in found]


def test_changes_of_a_section_are_logged(
    lab: Lab, people: tuple[User, User], client_for: ClientFor, database: Database
) -> None:
    _, newcomer = people
    client = client_for(lab.instructor)
    section = f"/sections/{lab.assignment.section_id}/roster"
    roster = f"Email,Name\nnew@larkmoor.example,New One\n{newcomer.email},{newcomer.name}\n"
    client.post(section, data={"text": roster})
    client.post(f"{section}/person", data={"email": newcomer.email, "role": "grader"})
    client.post(f"{section}/leave", data={"person": newcomer.id})
    client.post(f"{section}/code")
    client.post(f"{section}/code", data={"closed": "true"})
    found = lines(database)
    assert actions(found) == [
        Action.JOINED_SECTION,
        Action.JOINED_SECTION,
        Action.CHANGED_ROLE,
        Action.LEFT_SECTION,
        Action.MADE_JOIN_CODE,
        Action.CLOSED_JOIN_CODE,
    ]
    assert {actor for _, actor, _, _ in found} == {lab.instructor.log_id}
    assert found[2][2:] == (newcomer.log_id, "as grader")
    assert found[3][2] == newcomer.log_id


def test_pairs_are_logged(lab: Lab, client_for: ClientFor, database: Database) -> None:
    with database.write() as session:
        session.get_one(Assignment, lab.assignment.id).in_pairs = True
    client = client_for(lab.instructor)
    address = f"/assignments/{lab.assignment.id}/partners"
    client.post(address, data={"first": lab.student.id, "second": lab.classmate.id})
    client.post(address, data={"first": lab.student.id, "second": 0})
    found = lines(database)
    assert actions(found) == [Action.PAIRED, Action.PAIRED, Action.UNPAIRED]
    assert {person for _, _, person, _ in found[:2]} == {
        lab.student.log_id,
        lab.classmate.log_id,
    }


def test_looks_and_exports_are_logged(
    lab: Lab, people: tuple[User, User], client_for: ClientFor, database: Database
) -> None:
    head, _ = people
    with database.write() as session:
        submission = make_marked(session, lab.assignment, lab.student, R1=Status.MET)
    teacher = client_for(lab.instructor)
    here = f"/assignments/{lab.assignment.id}"
    teacher.get(f"{here}/trials/{lab.student.id}")
    teacher.get(f"{here}/gradebook.csv")
    teacher.get(f"/submissions/{submission.id}/diagnosis")
    client_for(head).get(f"/people/{lab.student.id}/data.json")
    client_for(lab.student).get("/my-data.json")
    found = lines(database)
    assert actions(found) == [
        Action.WATCHED_RUN,
        Action.TOOK_FILE,
        Action.SAW_DIAGNOSIS,
        Action.EXPORTED_DATA,
        Action.EXPORTED_DATA,
    ]
    assert found[0][1:3] == (lab.instructor.log_id, lab.student.log_id)
    assert found[2][1:3] == (lab.instructor.log_id, lab.student.log_id)
    assert found[3][1:3] == (head.log_id, lab.student.log_id)
    assert found[4][1] == lab.student.log_id


def test_accounts_and_rights_are_logged(
    people: tuple[User, User], client_for: ClientFor, database: Database
) -> None:
    head, _ = people
    with database.write() as session:
        overseer = make_user(session, Role.DEPARTMENT)
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session)
    client = client_for(head)
    added = {"name": "New Grader", "email": "grader@larkmoor.example", "role": "instructor"}
    client.post("/people", data=added)
    client.post(f"/people/{overseer.id}/names", data={"permitted": "true"})
    opened = {
        "course": section.course_id,
        "term": section.term_id,
        "number": "02",
        "instructor": teacher.email,
    }
    client.post("/sections", data=opened)
    found = lines(database)
    assert actions(found) == [
        Action.ADDED_ACCOUNT,
        Action.MADE_LINK,
        Action.CHANGED_ROLE,
        Action.JOINED_SECTION,
    ]
    assert found[0][3] == "as instructor"
    assert found[2][2:] == (overseer.log_id, "sees names")
    assert found[3][2:] == (teacher.log_id, f"as {SectionRole.INSTRUCTOR.value}")


def test_signing_in_and_failing_to_are_logged(
    lab: Lab, client_for: ClientFor, database: Database
) -> None:
    nobody, form = client_for(None), {"email": lab.student.email, "password": "a wrong one"}
    nobody.post("/sign-in", data=form)
    nobody.post("/sign-in", data={**form, "email": "not.there@larkmoor.example"})
    nobody.post("/sign-in", data={**form, "password": PASSWORD})
    nobody.post("/sign-out")
    found = lines(database)
    student = lab.student.log_id
    assert [each[:3] for each in found] == [
        (Action.FAILED_SIGN_IN, None, student),
        (Action.FAILED_SIGN_IN, None, None),
        (Action.SIGNED_IN, student, student),
        (Action.SIGNED_OUT, student, student),
    ]
    # Whatever somebody typed may be a password in the wrong field.
    assert "not.there" not in str(found)


def test_platforms_and_keys_are_logged(
    people: tuple[User, User], client_for: ClientFor, database: Database
) -> None:
    client = client_for(people[0])
    client.post("/platforms", data=FORM)
    client.post("/platforms/1", data=FORM | {"name": "Other name"})
    client.post("/platforms-keys")
    client.post("/platforms/1/remove", data={"name": "Other name"})
    assert [(each[0], each[3]) for each in lines(database)] == [
        (Action.CHANGED_PLATFORM, f"added {FORM['name']}"),
        (Action.CHANGED_PLATFORM, "changed Other name"),
        (Action.CHANGED_PLATFORM, "published a new key"),
        (Action.CHANGED_PLATFORM, "removed Other name"),
    ]
