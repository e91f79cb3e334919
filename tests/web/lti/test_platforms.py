"""The administrator's page of learning-management systems."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from server.store.courses import Assignment
from server.store.database import Database
from server.store.lti import Deployment, LtiContext, Platform, ToolKey
from server.store.people import Role, User
from tests.factories import Clock, make_lti_link, make_user
from tests.web.lab import ClientFor, Lab

FORM = {
    "name": "Larkmoor course server",
    "issuer": "https://lms.larkmoor.example",
    "client_id": "rungmark-1",
    "deployments": "1\r\n\r\n 2 \r\n1",
    "login_url": "https://lms.larkmoor.example/auth",
    "token_url": "https://lms.larkmoor.example/token",
    "keys_url": "https://lms.larkmoor.example/keys",
    "more_hosts": "",
}


@pytest.fixture
def administrator(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.ADMINISTRATOR)


@pytest.fixture
def client(administrator: User, client_for: ClientFor) -> TestClient:
    return client_for(administrator)


def registered(database: Database) -> list[tuple[str, list[str]]]:
    """Client id and deployments of each."""
    with database.read() as session:
        return [
            (
                platform.client_id,
                sorted(
                    session.scalars(
                        select(Deployment.deployment_id).where(
                            Deployment.platform_id == platform.id
                        )
                    )
                ),
            )
            for platform in session.scalars(select(Platform).order_by(Platform.id))
        ]


def test_a_system_is_registered_and_changed(client: TestClient, database: Database) -> None:
    assert "No platform yet." in client.get("/platforms").text
    assert client.post("/platforms", data=FORM).status_code == 303
    assert registered(database) == [("rungmark-1", ["1", "2"])]
    assert len(client.get("/lti/keys").json()["keys"]) == 1
    changed = {
        **FORM,
        "client_id": "rungmark-2",
        "deployments": "2\n3",
        "more_hosts": " API.example ",
    }
    assert client.post("/platforms/1", data=changed).status_code == 303
    assert registered(database) == [("rungmark-2", ["2", "3"])]
    with database.read() as session:
        assert session.get_one(Platform, 1).hosts == {"lms.larkmoor.example", "api.example"}


def test_the_first_look_at_the_key_set_makes_a_key(client: TestClient, database: Database) -> None:
    (key,) = client.get("/lti/keys").json()["keys"]
    assert client.get("/lti/keys").json()["keys"] == [key]
    client.post("/platforms", data={**FORM, "token_audience": " https://lms.larkmoor.example "})
    assert client.get("/lti/keys").json()["keys"] == [key]
    with database.read() as session:
        assert session.get_one(Platform, 1).token_audience == "https://lms.larkmoor.example"
    assert 'name="token_audience" value="https://lms' in client.get("/platforms").text


def test_what_can_not_be_registered(client: TestClient, database: Database) -> None:
    client.post("/platforms", data=FORM)
    before = registered(database)
    other = {**FORM, "client_id": "other"}
    wrong: dict[str, dict[str, Any]] = {
        "The name is missing.": {**other, "name": " "},
        "The issuer is missing.": {**other, "issuer": ""},
        "The client id is missing.": {**other, "client_id": ""},
        "A deployment id is needed.": {**other, "deployments": " \n "},
        "more than 255 letters": {**other, "deployments": "x" * 256},
        "The login address is not": {**other, "login_url": "http://lms.larkmoor.example/"},
        "The token address is not an https": {**other, "token_url": "javascript:alert(1)"},
        "The key set address is": {**other, "keys_url": "https://u:p@lms.larkmoor.example/"},
        "is registered with this client id already": FORM,
    }
    for sentence, form in wrong.items():
        answer = client.post("/platforms", data=form)
        assert answer.status_code == 422, sentence
        assert sentence in " ".join(answer.text.split())
        # What was typed is in the form still.
        assert (
            f'id="new-login" name="login_url" type="url" value="{form["login_url"]}"' in answer.text
        )
    assert registered(database) == before


def test_a_system_is_removed_by_its_name_and_people_stay(
    client: TestClient, database: Database, lab: Lab
) -> None:
    with database.write() as session:
        make_lti_link(session, session.get_one(Assignment, lab.assignment.id), lab.instructor)
        people = session.scalar(select(func.count()).select_from(User))
    refused = client.post("/platforms/1/remove", data={"name": "something"})
    assert "Type the name Larkmoor course server" in refused.text
    assert client.post("/platforms/1/remove", data={"name": FORM["name"]}).status_code == 303
    with database.read() as session:
        assert session.scalars(select(LtiContext)).all() == []
        assert session.scalar(select(func.count()).select_from(User)) == people
        assert session.get(Assignment, lab.assignment.id) is not None


def test_keys_are_changed_without_a_gap(
    administrator: User, client_for: ClientFor, database: Database, clock: Clock
) -> None:
    client = client_for(administrator)
    client.post("/platforms", data=FORM)
    assert client.post("/platforms-keys").status_code == 303
    page = client.get("/platforms").text
    assert "signs until Tue 6 Oct 2026" in page
    assert "published, signs next" in page
    assert client.post("/platforms-keys").status_code == 422
    clock.now += timedelta(days=2)
    client = client_for(administrator)
    assert "retired, published until Tue 13 Oct 2026" in client.get("/platforms").text
    assert len(client.get("/lti/keys").json()["keys"]) == 2
    clock.now += timedelta(days=7)
    client = client_for(administrator)
    assert len(client.get("/lti/keys").json()["keys"]) == 1
    client.post("/platforms-keys")
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(ToolKey)) == 2
