"""Links for first passwords: for whom a roster makes them, and for whom never."""

import csv
import io
from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.testclient import TestClient

from server.store import roster, roster_file
from server.store.addresses import claim_address
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Section, SectionRole
from server.store.database import Database
from server.store.lti import LtiPerson
from server.store.people import Origin, Role, User, find_user
from tests.factories import NOON, Clock, make_assignment, make_lti_link, make_section, make_user
from tests.web.lab import ClientFor, Lab

NEW = "new@larkmoor.example"
PASSWORD = "quince-press-9"


def put_on_roster(client: TestClient, section_id: int, *emails: str) -> None:
    text = "Email,Name\n" + "".join(f"{email},Ada Quint\n" for email in emails)
    answer = client.post(f"/sections/{section_id}/roster", data={"text": text})
    assert answer.status_code == 303


def links(client: TestClient, section_id: int) -> dict[str, str]:
    """The secrets of the links that the roster gives out, by email."""
    answer = client.post(f"/sections/{section_id}/roster/links")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))[1:]
    return {email: link.split("link=")[1] for _, email, link in rows}


def use(client: TestClient, secret: str) -> int:
    form = {"link": secret, "password": PASSWORD}
    return client.post("/password", data=form).status_code


def without_password(role: Role) -> Callable[[Session, Section], User]:
    """An account that an administrator made, and whose owner has not come yet."""

    def make(session: Session, _section: Section) -> User:
        user = make_user(session, role)
        user.password_hash = None
        return user

    return make


def from_roster(session: Session, section: Section, name: str = "x@larkmoor.example") -> User:
    roster.enrol_all(
        session, section, [roster_file.RosterLine(2, name, "X", "X")], drop_missing=False
    )
    user = find_user(session, name)
    assert user is not None
    return user


def from_another_roster(session: Session, _section: Section) -> User:
    return from_roster(session, make_section(session))


def grader_elsewhere(session: Session, section: Section) -> User:
    user = from_roster(session, section)
    roster.enrol(session, make_section(session), user, SectionRole.GRADER)
    return user


def comes_by_openid(session: Session, section: Section) -> User:
    user = from_roster(session, section)
    claim_address(session, user, NOON)
    return user


def comes_by_lms(session: Session, section: Section) -> User:
    user, teacher = from_roster(session, section), make_user(session, Role.INSTRUCTOR)
    lms = make_lti_link(session, make_assignment(session, section), teacher)
    session.add(LtiPerson(platform_id=lms["platform_id"], subject="s", user_id=user.id))
    return user


def joined(session: Session, section: Section) -> User:
    user = from_roster(session, section)
    user.origin = Origin.JOIN_CODE
    return user


@pytest.mark.parametrize(
    "make",
    [
        *(without_password(role) for role in Role),
        from_another_roster,
        grader_elsewhere,
        comes_by_openid,
        comes_by_lms,
        joined,
    ],
)
def test_a_roster_gives_no_link_for_an_account_that_is_not_its_own(
    lab: Lab,
    client_for: ClientFor,
    database: Database,
    make: Callable[[Session, Section], User],
) -> None:
    section_id = lab.assignment.section_id
    client = client_for(lab.instructor)
    with database.write() as session:
        user = make(session, session.get_one(Section, section_id))
    put_on_roster(client, section_id, user.email, NEW)
    assert set(links(client, section_id)) == {NEW}
    # Nor after it was taken out and put on the roster again.
    client.post(f"/sections/{section_id}/roster/leave", data={"person": str(user.id)})
    put_on_roster(client, section_id, user.email)
    assert set(links(client, section_id)) == {NEW}
    assert (
        "an administrator makes a password link"
        in client.get(f"/sections/{section_id}/roster").text
    )


def make_grader_elsewhere(session: Session, user: User) -> None:
    roster.enrol(session, make_section(session), user, SectionRole.GRADER)


def raise_to_instructor(_session: Session, user: User) -> None:
    user.role = Role.INSTRUCTOR


def take_out(session: Session, user: User) -> None:
    section = session.get_one(Section, user.origin_section_id)
    roster.leave_section(session, section, [user.id])


def claim(session: Session, user: User) -> None:
    claim_address(session, user, NOON)


@pytest.mark.parametrize("change", [make_grader_elsewhere, raise_to_instructor, take_out, claim])
def test_a_roster_s_link_dies_when_the_account_becomes_more_than_its_own(
    lab: Lab, client_for: ClientFor, database: Database, change: Callable[[Session, User], None]
) -> None:
    client, section_id = client_for(lab.instructor), lab.assignment.section_id
    put_on_roster(client, section_id, NEW)
    secret = links(client, section_id)[NEW]
    with database.write() as session:
        user = find_user(session, NEW)
        assert user is not None
        change(session, user)
    nobody = client_for(None)
    assert nobody.get(f"/password?link={secret}").status_code == 422
    assert use(nobody, secret) == 422
    with database.read() as session:
        assert session.get_one(User, user.id).password_hash is None


def test_every_link_is_in_the_log_when_made_used_and_expired(
    lab: Lab, client_for: ClientFor, database: Database, clock: Clock
) -> None:
    with database.write() as session:
        head = make_user(session, Role.ADMINISTRATOR)
    client, section_id = client_for(lab.instructor), lab.assignment.section_id
    put_on_roster(client, section_id, NEW, "other@larkmoor.example")
    made = links(client, section_id)
    assert use(client_for(None), made[NEW]) == 303
    client_for(head).post(f"/people/{lab.student.id}/link")
    clock.now += timedelta(days=1)
    assert use(client_for(None), made["other@larkmoor.example"]) == 422
    with database.read() as session:
        new, other = find_user(session, NEW), find_user(session, "other@larkmoor.example")
        assert new is not None
        assert other is not None
        lines = [
            (each.at - NOON, each.actor, each.action, each.section_id, each.person)
            for each in session.scalars(select(AuditEvent).order_by(AuditEvent.number))
            if each.action in (Action.MADE_LINK, Action.USED_LINK, Action.LINK_EXPIRED)
        ]
    day, none, teacher = timedelta(days=1), timedelta(), lab.instructor.log_id
    made_it, ran_out = Action.MADE_LINK, Action.LINK_EXPIRED
    assert sorted(lines[:2], key=lambda line: line[4] == other.log_id) == [
        (none, teacher, made_it, section_id, new.log_id),
        (none, teacher, made_it, section_id, other.log_id),
    ]
    assert lines[2] == (none, new.log_id, Action.USED_LINK, section_id, new.log_id)
    assert lines[3] == (none, head.log_id, made_it, None, lab.student.log_id)
    assert set(lines[4:]) == {
        (day, teacher, ran_out, section_id, other.log_id),
        (day, head.log_id, ran_out, None, lab.student.log_id),
    }
