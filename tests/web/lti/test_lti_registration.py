"""A platform that registers itself, by the administrator's leave and in its own name only."""

import re
from typing import Any

import httpx2
import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.store.database import Database
from server.store.lti import Deployment, ToolKey
from server.store.lti import Platform as Registered
from server.store.lti_registration import INVITATION_LASTS
from server.store.people import Role
from tests.factories import Clock, make_user
from tests.web.conftest import SITE
from tests.web.lab import ClientFor
from tests.web.launches import INGRID, launch, platform_of
from tests.web.lti_platform import Platform, Server


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock) -> Platform:
    """One that is not registered yet."""
    platform = platform_of(lti_server, database, clock, SITE)
    with database.write() as session:
        session.delete(session.scalars(select(Registered)).one())
        session.delete(session.scalars(select(ToolKey)).one())
    return platform


@pytest.fixture
def address(client_for: ClientFor, platform: Platform, database: Database) -> str:
    """The address that the administrator gives out."""
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    form = {"name": "Larkmoor course server", "hosts": f"127.0.0.1:{platform.port}"}
    page = client_for(administrator).post("/platforms-invitation", data=form).text
    found = re.search(rf"{SITE}(/lti/register/[\w-]+)", page)
    assert found
    return found[1]


@pytest.fixture
def client(client_for: ClientFor) -> TestClient:
    return client_for(None)


def register(client: TestClient, platform: Platform, address: str) -> httpx2.Response:
    """What the platform opens, and the button there."""
    asked = {
        "openid_configuration": f"{platform.url}/openid-configuration",
        "registration_token": platform.registration_token,
    }
    page = client.get(address, params=asked)
    assert page.status_code == 200
    assert f"http://127.0.0.1:{platform.port}" in page.headers["Content-Security-Policy"]
    form = dict(re.findall(r'name="(\w+)"[^>]* value="([^"]*)"', page.text))
    return client.post(address, data=form)


def there(database: Database) -> list[Registered]:
    with database.read() as session:
        return list(session.scalars(select(Registered)))


def test_a_platform_registers_itself_and_launches(
    client: TestClient, platform: Platform, address: str, database: Database
) -> None:
    platform.discovery = {"authorization_server": f"{platform.url}/authorization"}
    answer = register(client, platform, address)
    assert f'data-registered="{platform.url}"' in answer.text
    assert answer.headers["Cross-Origin-Opener-Policy"] == "unsafe-none"
    (registered,) = there(database)
    assert (registered.issuer, registered.client_id) == (platform.url, platform.client_id)
    assert registered.token_audience == f"{platform.url}/authorization"
    with database.read() as session:
        assert session.scalars(select(Deployment.deployment_id)).all() == ["deployment-1"]
        assert len(session.scalars(select(ToolKey)).all()) == 1
    assert launch(client, platform, INGRID).headers["location"].startswith("/lti/contexts/")
    # The address has done its work.
    assert client.get(address).status_code == 404
    assert client.post(address).status_code == 404


def test_a_deployment_that_is_not_named_is_entered_by_the_administrator(
    client: TestClient, platform: Platform, address: str, database: Database
) -> None:
    platform.gives_deployment = False
    assert "named no deployment" in register(client, platform, address).text
    assert "deployment deployment-1 of the LMS is not registered" in " ".join(
        launch(client, platform, INGRID).text.split()
    )


REFUSED: dict[str, dict[str, Any]] = {
    "names another issuer": {"issuer": "https://lms.elsewhere.example"},
    "can't be read (jwks_uri)": {"jwks_uri": None},
    "can't be read (issuer)": {"issuer": ""},
    "not an https address at one of the hosts": {"token_endpoint": "https://elsewhere.example/t"},
    "host elsewhere.example is not registered": {
        "registration_endpoint": "https://elsewhere.example/r"
    },
}


def test_what_can_not_be_registered_is_told_and_the_address_stays_good(
    client: TestClient, platform: Platform, address: str, database: Database
) -> None:
    for expected, bent in REFUSED.items():
        platform.discovery = bent
        answer = register(client, platform, address)
        assert answer.status_code == 422, expected
        assert expected in " ".join(answer.text.split()).replace("&#39;", "'"), expected
        assert platform.registered == []
    platform.discovery = {}
    token, platform.registration_token = platform.registration_token, "another"
    form = {"openid_configuration": f"{platform.url}/openid-configuration", "token": token}
    assert "does not take the request (401)" in client.post(address, data=form).text
    form["openid_configuration"] = "https://elsewhere.example/.well-known/openid-configuration"
    assert "host elsewhere.example is not registered" in client.post(address, data=form).text
    assert there(database) == []
    assert register(client, platform, address).status_code == 200
    assert len(there(database)) == 1


def test_nobody_registers_without_an_invitation_or_with_an_old_one(
    client: TestClient, platform: Platform, address: str, database: Database, clock: Clock
) -> None:
    assert client.post("/lti/register/made-up").status_code == 404
    clock.now += INVITATION_LASTS
    for answer in (client.get(address), client.post(address)):
        assert answer.status_code == 404
        assert "Ask the administrator for another" in answer.text
    assert there(database) == []


def test_an_invitation_needs_a_name_and_hosts(client_for: ClientFor, database: Database) -> None:
    with database.write() as session:
        user = make_user(session, Role.ADMINISTRATOR)
    administrator = client_for(user)
    for name, hosts in (("", "a.example"), ("A", ""), ("A", "https://a.example"), ("A", "a b/c")):
        form = {"name": name, "hosts": hosts}
        assert administrator.post("/platforms-invitation", data=form).status_code == 422


def test_the_configuration_can_be_read_as_json(client: TestClient) -> None:
    """The same that a platform is told when it registers itself."""
    found = client.get("/lti/configuration.json").json()
    assert found["initiate_login_uri"] == f"{SITE}/lti/login"
    tool = found["https://purl.imsglobal.org/spec/lti-tool-configuration"]
    assert tool["domain"] == SITE.removeprefix("http://")
    assert tool["custom_parameters"]["link_history"] == "$ResourceLink.id.history"
