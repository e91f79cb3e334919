"""The JSON API: each route opens to its scopes alone, and says what the pages say."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.marking.verdict import Status
from server.store.accounts import disable_account
from server.store.api_tokens import MOST, TokenScope, make_token, tokens_of
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Enrolment, Section, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.web.access import RULES
from server.web.api.reading import describe_api
from server.web.app import routes
from tests.factories import NOON, Clock, make_marked, make_section, make_user
from tests.web.lab import ClientFor, Lab

TABLE = {
    "api_sections": {TokenScope.ROSTER, TokenScope.GRADEBOOK},
    "api_roster": {TokenScope.ROSTER},
    "api_gradebook": {TokenScope.GRADEBOOK},
    "api_report": {TokenScope.REPORT},
    "api_exercises": {TokenScope.EXERCISES},
}


def token_for(database: Database, user: User, *scopes: TokenScope, name: str = "script") -> str:
    with database.write() as session:
        token = make_token(session, user.id, name, scopes, NOON + timedelta(days=1), NOON)
    assert token is not None
    return token


def course_of(database: Database, lab: Lab) -> int:
    with database.read() as session:
        return session.get_one(Section, lab.assignment.section_id).course_id


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture
def script(client_for: ClientFor) -> TestClient:
    """Signed in as nobody."""
    return client_for(None)


@pytest.fixture
def department(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.DEPARTMENT)


def test_every_route_by_every_scope(
    lab: Lab, database: Database, department: User, script: TestClient
) -> None:
    paths = {route.name: route.path for route in routes() if RULES[route.name].scopes}
    assert paths.keys() == TABLE.keys()
    ids = {"section_id": lab.assignment.section_id, "course_id": course_of(database, lab)}
    for name, path in paths.items():
        owner = department if name == "api_report" else lab.instructor
        for scope in TokenScope:
            headers = bearer(token_for(database, owner, scope))
            answer = script.get(path.format(**ids), headers=headers)
            expected = 200 if scope in TABLE[name] else 403
            assert answer.status_code == expected, (name, scope)
            assert answer.headers["Content-Type"] == "application/json"
            with database.write() as session:
                for each in tokens_of(session, owner.id):
                    session.delete(each)


def test_nothing_opens_without_a_good_token(
    lab: Lab, database: Database, script: TestClient, clock: Clock
) -> None:
    path = f"/api/v1/sections/{lab.assignment.section_id}/roster"
    token = token_for(database, lab.instructor, TokenScope.ROSTER)
    # A cookie is no token, so that no other site's page can ask for it.
    assert lab.client_for(lab.instructor).get(path).status_code == 401
    for headers in ({}, bearer(""), bearer(token[:-1]), {"Authorization": f"Basic {token}"}):
        answer = script.get(path, headers=headers)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"] == "Bearer"
        assert "Tokens for scripts" in answer.json()["detail"]
    # And a token is no cookie.
    assert script.get("/", headers=bearer(token)).status_code == 303
    assert script.get(path, headers=bearer(token)).status_code == 200
    clock.now += timedelta(days=1)
    assert script.get(path, headers=bearer(token)).status_code == 401


def test_a_token_opens_no_more_than_its_owner_may_see(
    lab: Lab, database: Database, script: TestClient
) -> None:
    headers = bearer(token_for(database, lab.instructor, *TokenScope))
    with database.write() as session:
        elsewhere = make_section(session)
    for path in (f"/api/v1/sections/{elsewhere.id}/roster", "/api/v1/sections/999/gradebook"):
        assert script.get(path, headers=headers).status_code == 404
    report = f"/api/v1/courses/{course_of(database, lab)}/report"
    assert script.get(report, headers=headers).status_code == 403
    assert script.get("/api/v1/sections/x/roster", headers=headers).status_code == 404
    (section,) = script.get("/api/v1/sections", headers=headers).json()
    assert section["id"] == lab.assignment.section_id
    own = f"/api/v1/sections/{lab.assignment.section_id}/roster"
    with database.write() as session:
        enrolment = session.get_one(
            Enrolment, {"section_id": lab.assignment.section_id, "user_id": lab.instructor.id}
        )
        session.delete(enrolment)
    assert script.get(own, headers=headers).status_code == 404
    with database.write() as session:
        user = session.get_one(User, lab.instructor.id)
        disable_account(session, user, by_id=None, now=NOON)
    assert script.get(own, headers=headers).status_code == 401


def test_the_gradebook_says_what_counts(lab: Lab, database: Database, script: TestClient) -> None:
    with database.write() as session:
        make_marked(session, lab.assignment, lab.student, R1=Status.MET, R2=Status.NOT_MET)
    headers = bearer(token_for(database, lab.instructor, TokenScope.GRADEBOOK, TokenScope.ROSTER))
    book = script.get(
        f"/api/v1/sections/{lab.assignment.section_id}/gradebook", headers=headers
    ).json()
    (row,) = (each for each in book["students"] if each["email"] == lab.student.email)
    (work,) = (each for each in row["work"] if each["assignment_id"] == lab.assignment.id)
    assert work["requirements"] == {"R1": "met", "R2": "not met"}
    assert work["due_at"] == lab.assignment.due_at.isoformat().replace("+00:00", "Z")
    assert (row["student_number"], row["incomplete"]) == (None, False)
    assert row["share"] == work["points"] / work["max_points"]
    people = script.get(
        f"/api/v1/sections/{lab.assignment.section_id}/roster", headers=headers
    ).json()
    assert SectionRole.INSTRUCTOR.value in {each["role"] for each in people}
    with database.read() as session:
        taken = session.scalars(
            select(AuditEvent).where(AuditEvent.action == Action.TOOK_FILE)
        ).all()
        assert {each.detail for each in taken} == {"by token script"}
        assert {each.section_id for each in taken} == {lab.assignment.section_id}


def test_a_token_is_made_shown_once_and_ended(
    lab: Lab, database: Database, script: TestClient
) -> None:
    client = lab.client_for(lab.instructor)
    form = {"name": "Grades <b>", "scope": ["gradebook"], "ends": "2026-12-18"}
    made = client.post("/tokens", data=form).text
    found = re.search(r"rungmark_[\w-]{43}", made)
    assert found is not None
    assert "Grades &lt;b&gt;" in made
    assert found[0] not in client.get("/tokens").text
    path = f"/api/v1/sections/{lab.assignment.section_id}/gradebook"
    assert script.get(path, headers=bearer(found[0])).status_code == 200
    with database.read() as session:
        (stored,) = tokens_of(session, lab.instructor.id)
        assert found[0] not in stored.token_hash
        assert stored.used_at == NOON
    assert client.post("/tokens/end", data={"which": str(stored.id)}).status_code == 303
    assert script.get(path, headers=bearer(found[0])).status_code == 401
    assert client.post("/tokens/end", data={"which": str(stored.id)}).status_code == 404


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": " "},
        {"scope": []},
        # The report is the department's.
        {"scope": ["report"]},
        {"ends": "2026-10-04"},
        {"ends": "2027-10-07"},
        {"ends": "soon"},
        {"ends": "9999-12-31"},
    ],
)
def test_a_token_that_cannot_be_made_keeps_what_was_typed(
    lab: Lab, wrong: dict[str, str | list[str]]
) -> None:
    form = {"name": "Weekly", "scope": ["roster"], "ends": "2026-12-18", **wrong}
    answer = lab.client_for(lab.instructor).post("/tokens", data=form)
    assert answer.status_code == 422
    assert f'value="{form["name"]}"' in answer.text
    assert "No tokens yet." in answer.text


def test_tokens_of_one_person_are_few(lab: Lab, database: Database) -> None:
    for _ in range(MOST):
        token_for(database, lab.instructor, TokenScope.ROSTER)
    form = {"name": "One more", "scope": ["roster"], "ends": "2026-12-18"}
    answer = lab.client_for(lab.instructor).post("/tokens", data=form)
    assert f"You have {MOST} tokens. End one first." in answer.text


def test_openapi_describes_every_route(lab: Lab) -> None:
    document = lab.client_for(lab.instructor).get("/api/v1/openapi.json").json()
    assert document == describe_api()
    paths = {route.path for route in routes() if RULES[route.name].scopes}
    assert document["paths"].keys() == paths
    for path in paths:
        (operation,) = document["paths"][path].values()
        assert operation["description"]
        schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
        assert "$ref" in str(schema)
