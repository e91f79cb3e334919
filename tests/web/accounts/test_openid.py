"""Signing in by an OpenID Connect provider, which runs here as a real HTTP server."""

from collections.abc import Callable, Iterator
from html import unescape
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import httpx2
import pytest
from joserfc import jwt
from sqlalchemy import func, select
from starlette.testclient import TestClient

from server.settings import OpenIdProvider, Settings
from server.store.database import Database
from server.store.openid import OpenIdPerson
from server.store.people import Role, User
from server.store.sessions import BrowserSession
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, PASSWORD, Clock, make_user
from tests.web.conftest import SITE
from tests.web.launches import platform_key, sentence
from tests.web.lti_platform import expired
from tests.web.openid_provider import CLIENT, SECRET, Provider

BACK = f"{SITE}/sign-in/openid/back"


@pytest.fixture
def provider(clock: Clock) -> Iterator[Provider]:
    provider = Provider(clock, SITE)
    yield provider
    provider.stop()


@pytest.fixture
def client(provider: Provider, database: Database, clock: Clock) -> Iterator[TestClient]:
    settings = Settings(
        database_url=database.place,
        public_urls=(SITE,),
        exercises=EXERCISES,
        openid=OpenIdProvider("Larkmoor account", provider.url, CLIENT, SECRET),
    )
    app = create_app(settings, database, clock)
    with TestClient(
        app, base_url=SITE, follow_redirects=False, raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def user(database: Database, provider: Provider) -> User:
    with database.write() as session:
        user = make_user(session)
    provider.email = user.email.upper()
    return user


def sign_in(client: TestClient, provider: Provider, next: str = "/join") -> httpx2.Response:
    begun = client.get("/sign-in/openid", params={"next": next})
    assert begun.status_code == 302, begun.text
    return client.get(provider.signed_in(begun.headers["location"]))


def test_an_account_is_opened_by_its_verified_address(
    client: TestClient, provider: Provider, user: User, database: Database
) -> None:
    assert "Sign in with Larkmoor account" in client.get("/sign-in").text
    answer = sign_in(client, provider)
    assert (answer.status_code, answer.headers["location"]) == (303, "/join")
    with database.read() as session:
        assert session.scalars(select(BrowserSession.user_id)).all() == [user.id]
    # Away from this server it does not lead.
    assert sign_in(client, provider, "//elsewhere.example").headers["location"] == "/"


def test_each_sign_in_that_does_not_hold_is_refused(
    client: TestClient, provider: Provider, user: User, database: Database
) -> None:
    bent: dict[str, Callable[[dict[str, Any]], Any]] = {
        "another tool": lambda c: c.update(aud="another"),
        "another issuer": lambda c: c.update(iss="https://elsewhere.example"),
        "used before": lambda c: c.update(nonce="made-up"),
        "has expired": expired,
        "lacks the claim iat": lambda c: c.pop("iat"),
        "not verified your email": lambda c: c.update(email_verified=False),
        "has not verified your email": lambda c: c.pop("email_verified"),
        "not verified your email address": lambda c: c.update(email_verified="false"),
        "No account here has the address new@": lambda c: c.update(email="new@larkmoor.example"),
    }
    provider.info = {"email_verified": False}
    for expected, bend in bent.items():
        provider.bend = bend
        answer: Any = sign_in(client, provider)
        assert answer.status_code == 400, expected
        assert expected in sentence(answer)
    provider.bend = lambda claims: None
    provider.signing = platform_key(1)
    answer = sign_in(client, provider)
    assert "made with another key" in sentence(answer)
    assert COOKIE not in client.cookies
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(User)) == 1
        assert session.scalars(select(BrowserSession)).all() == []


def opened(answer: Any) -> bool:
    """Whether a sign-in led in."""
    return bool(answer.status_code == 303 and COOKIE in answer.cookies)


def test_an_account_whose_address_moves_is_opened_by_its_owner_only(
    client: TestClient, provider: Provider, user: User, database: Database
) -> None:
    assert opened(sign_in(client, provider))
    # The college gives the address to somebody else.
    provider.subject = "somebody new"
    answer: Any = sign_in(client, provider)
    assert answer.status_code == 400
    assert "belongs to another person" in sentence(answer)
    assert COOKIE not in answer.cookies
    # The first one has another address by now, or none that is verified.
    provider.subject, provider.email, provider.verified = "somebody", "new@larkmoor.example", False
    assert opened(sign_in(client, provider))
    with database.read() as session:
        (person,) = session.scalars(select(OpenIdPerson))
        assert (person.issuer, person.subject) == (provider.url, "somebody")
        assert set(session.scalars(select(BrowserSession.user_id))) == {user.id}


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.DEPARTMENT])
def test_an_overseer_with_a_password_signs_in_with_it_once(
    role: Role, client: TestClient, provider: Provider, user: User, database: Database
) -> None:
    with database.write() as session:
        session.get_one(User, user.id).role = role
    answer: Any = sign_in(client, provider)
    assert COOKIE not in answer.cookies
    page = client.get(answer.headers["location"]).text
    then = page.split('name="next" value="')[1].split('"')[0]
    form = {"email": user.email, "password": PASSWORD, "next": then}
    signed_in = client.post("/sign-in", data=form, headers={"Origin": SITE})
    again = client.get(signed_in.headers["location"])
    assert client.get(provider.signed_in(again.headers["location"])).headers["location"] == "/join"
    # From now on the provider is enough.
    client.cookies.clear()
    assert opened(sign_in(client, provider))


def test_a_thin_token_is_completed_by_user_info(
    client: TestClient, provider: Provider, user: User
) -> None:
    provider.thin = True
    provider.info = {"sub": "somebody else"}
    assert "is about another person" in sentence(sign_in(client, provider))
    provider.info = {"email_verified": False}
    assert "has not verified your email" in sentence(sign_in(client, provider))
    provider.info = {}
    assert opened(sign_in(client, provider))
    # Somebody who is known needs no address.
    provider.info = {"sub": "somebody else"}
    assert opened(sign_in(client, provider))


@pytest.mark.parametrize(
    "methods",
    [
        ["client_secret_post"],
        ["client_secret_basic"],
        ["client_secret_post", "client_secret_basic"],
        ["private_key_jwt"],
    ],
)
def test_the_secret_goes_where_the_provider_takes_it(
    methods: list[str], client: TestClient, provider: Provider, user: User
) -> None:
    provider.methods = methods
    assert opened(sign_in(client, provider))


def test_signing_out_goes_on_to_the_provider(
    client: TestClient, provider: Provider, user: User
) -> None:
    def sign_out() -> Any:
        answer = client.post("/sign-out", headers={"Origin": SITE})
        return client.get(answer.headers["location"])

    # Who came with a password has nothing to sign out of there.
    assert sign_out().headers["location"] == "/sign-in"
    sign_in(client, provider)
    # Nobody is signed out by a link.
    assert client.get("/sign-out/openid").headers["location"] == "/"
    page = unescape(sign_out().text)
    address = page.split('content="0; url=')[1].split('"')[0]
    assert address.startswith(f"{provider.url}/end?")
    asked = dict(parse_qsl(urlsplit(address).query))
    assert asked["post_logout_redirect_uri"] == f"{SITE}/sign-in"
    assert asked["client_id"] == CLIENT
    found = jwt.decode(asked["id_token_hint"], platform_key(), algorithms=["RS256"])
    assert found.claims["sub"] == "somebody"
    assert sign_out().headers["location"] == "/sign-in"


def test_a_provider_without_sign_out_is_left(
    client: TestClient, provider: Provider, user: User
) -> None:
    provider.signs_out = False
    sign_in(client, provider)
    client.post("/sign-out", headers={"Origin": SITE})
    assert client.get("/sign-out/openid").headers["location"] == "/sign-in"


def test_a_sign_in_belongs_to_the_browser_that_began_it(
    client: TestClient, provider: Provider, user: User
) -> None:
    back = provider.signed_in(client.get("/sign-in/openid").headers["location"])
    client.cookies.clear()
    assert "did not begin in this browser" in sentence(client.get(back))
    back = provider.signed_in(client.get("/sign-in/openid").headers["location"])
    assert "did not begin" in sentence(client.get(back.replace("state=", "state=x")))
    # What the provider says no to is told.
    begun = client.get("/sign-in/openid")
    state = dict(parse_qsl(urlsplit(begun.headers["location"]).query))["state"]
    refused = client.get(f"{BACK}?error=access_denied&state={state}")
    assert "did not sign you in" in sentence(refused)


def test_without_the_setting_there_is_no_such_way(client_for: Any) -> None:
    client = client_for(None)
    assert "Sign in with" not in client.get("/sign-in").text
    for path in ("/sign-in/openid", "/sign-in/openid/back"):
        assert "not set up here" in sentence(client.get(path))
