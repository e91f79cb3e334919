"""Signing in by an OpenID Connect provider, which runs here as a real HTTP server."""

import hashlib
import secrets
import socket
from base64 import b64decode, urlsafe_b64encode
from collections.abc import Callable, Iterator
from html import unescape
from threading import Thread
from typing import Annotated, Any
from urllib.parse import parse_qsl, unquote_plus, urlencode, urlsplit

import httpx2
import pytest
import uvicorn
from fastapi import FastAPI, Form, Header, HTTPException
from joserfc import jwt
from joserfc.jwk import KeySet
from sqlalchemy import func, select
from starlette.testclient import TestClient

from server.settings import OpenIdProvider, Settings
from server.store.database import Database
from server.store.openid import OpenIdPerson
from server.store.people import BrowserSession, Role, User
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, PASSWORD, Clock, make_user
from tests.web.conftest import SITE
from tests.web.launches import platform_key, sentence
from tests.web.lti_platform import expired

BACK = f"{SITE}/sign-in/openid/back"
CLIENT, SECRET = "rungmark", "between us: 50 %"


class Provider:
    """Written from OpenID Connect Core 1.0 and RFC 7636, from memory; as strict as they permit."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.subject = "somebody"
        self.email = ""
        self.verified: object = True
        self.thin = False
        self.info: dict[str, Any] = {}
        self.methods: list[str] | None = None
        self.signs_out = True
        self.bend: Callable[[dict[str, Any]], None] = lambda claims: None
        self.signing = platform_key()
        self.codes: dict[str, dict[str, str]] = {}
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}"
        self.server = uvicorn.Server(uvicorn.Config(self.app(), log_level="error"))
        self.thread = Thread(target=self.server.run, kwargs={"sockets": [self.listening]})
        self.thread.start()

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join()
        self.listening.close()

    def signed_in(self, address: str) -> str:
        """Where the browser is sent once the person has signed in at the authorization page."""
        asked = dict(parse_qsl(urlsplit(address).query))
        assert address.startswith(f"{self.url}/authorize?")
        assert asked["response_type"] == "code"
        assert "openid" in asked["scope"].split()
        assert asked["client_id"] == CLIENT
        assert asked["redirect_uri"] == BACK
        assert asked["code_challenge_method"] == "S256"
        code = secrets.token_urlsafe(8)
        self.codes[code] = asked
        return f"{BACK}?{urlencode({'code': code, 'state': asked['state']})}"

    def app(self) -> FastAPI:
        app = FastAPI()

        @app.get("/.well-known/openid-configuration")
        def described() -> dict[str, Any]:
            found = {
                "issuer": self.url,
                "authorization_endpoint": f"{self.url}/authorize",
                "token_endpoint": f"{self.url}/token",
                "jwks_uri": f"{self.url}/keys",
                "userinfo_endpoint": f"{self.url}/userinfo",
            }
            if self.signs_out:
                found["end_session_endpoint"] = f"{self.url}/end"
            methods = {"token_endpoint_auth_methods_supported": self.methods}
            return found | (methods if self.methods is not None else {})

        @app.get("/keys")
        def keys() -> Any:
            return KeySet([platform_key()]).as_dict(private=False)

        @app.post("/token")
        def token(
            grant_type: Annotated[str, Form()],
            code: Annotated[str, Form()],
            redirect_uri: Annotated[str, Form()],
            code_verifier: Annotated[str, Form()],
            client_id: Annotated[str, Form()] = "",
            client_secret: Annotated[str, Form()] = "",
            authorization: Annotated[str, Header()] = "",
        ) -> dict[str, str]:
            if self.methods == ["client_secret_post"]:
                sent = client_id, client_secret
            else:
                # Each half is encoded as in a form (RFC 6749, section 2.3.1; from memory).
                pair = b64decode(authorization.removeprefix("Basic ")).decode()
                name, _, secret = pair.partition(":")
                sent = unquote_plus(name), unquote_plus(secret)
                assert not client_secret
            asked = self.codes.pop(code, None)
            digest = hashlib.sha256(code_verifier.encode()).digest()
            challenge = urlsafe_b64encode(digest).decode().rstrip("=")
            if (
                asked is None
                or grant_type != "authorization_code"
                or redirect_uri != asked["redirect_uri"]
                or sent != (CLIENT, SECRET)
                or challenge != asked["code_challenge"]
            ):
                raise HTTPException(400)
            now = int(self.clock().timestamp())
            claims = {
                "iss": self.url,
                "sub": self.subject,
                "aud": CLIENT,
                "iat": now,
                "exp": now + 300,
                "nonce": asked["nonce"],
            }
            if not self.thin:
                claims |= {"email": self.email, "email_verified": self.verified}
            self.bend(claims)
            header = {"alg": "RS256", "kid": platform_key().kid}
            made = jwt.encode(header, claims, self.signing)
            return {"access_token": "opens-info", "token_type": "Bearer", "id_token": made}

        @app.get("/userinfo")
        def user_info(authorization: Annotated[str, Header()]) -> dict[str, Any]:
            assert authorization == "Bearer opens-info"
            known = {"sub": self.subject, "email": self.email, "email_verified": self.verified}
            return known | self.info

        return app


@pytest.fixture
def provider(clock: Clock) -> Iterator[Provider]:
    provider = Provider(clock)
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
        "has run out": expired,
        "lacks the claim iat": lambda c: c.pop("iat"),
        "not verified your email": lambda c: c.update(email_verified=False),
        "has not verified your email": lambda c: c.pop("email_verified"),
        "not verified your email address": lambda c: c.update(email_verified="false"),
        "Nobody here has the address new@": lambda c: c.update(email="new@larkmoor.example"),
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
