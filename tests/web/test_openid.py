"""Signing in by an OpenID Connect provider, which runs here as a real HTTP server."""

import hashlib
import secrets
import socket
from base64 import urlsafe_b64encode
from collections.abc import Callable, Iterator
from threading import Thread
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
import uvicorn
from fastapi import FastAPI, Form, HTTPException
from joserfc import jwt
from joserfc.jwk import KeySet
from sqlalchemy import func, select
from starlette.responses import Response
from starlette.testclient import TestClient

from server.settings import OpenIdProvider, Settings
from server.store.database import Database
from server.store.people import BrowserSession, User
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, Clock, make_user
from tests.web.conftest import SITE
from tests.web.launches import platform_key, sentence
from tests.web.lti_platform import expired

BACK = f"{SITE}/sign-in/openid/back"
CLIENT, SECRET = "rungmark", "between us"


class Provider:
    """Written from OpenID Connect Core 1.0 and RFC 7636, from memory; as strict as they permit."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.email = ""
        self.verified: object = True
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
        def described() -> dict[str, str]:
            return {
                "issuer": self.url,
                "authorization_endpoint": f"{self.url}/authorize",
                "token_endpoint": f"{self.url}/token",
                "jwks_uri": f"{self.url}/keys",
            }

        @app.get("/keys")
        def keys() -> Any:
            return KeySet([platform_key()]).as_dict(private=False)

        @app.post("/token")
        def token(
            grant_type: Annotated[str, Form()],
            code: Annotated[str, Form()],
            redirect_uri: Annotated[str, Form()],
            client_id: Annotated[str, Form()],
            client_secret: Annotated[str, Form()],
            code_verifier: Annotated[str, Form()],
        ) -> dict[str, str]:
            asked = self.codes.pop(code, None)
            digest = hashlib.sha256(code_verifier.encode()).digest()
            challenge = urlsafe_b64encode(digest).decode().rstrip("=")
            if (
                asked is None
                or grant_type != "authorization_code"
                or redirect_uri != asked["redirect_uri"]
                or (client_id, client_secret) != (CLIENT, SECRET)
                or challenge != asked["code_challenge"]
            ):
                raise HTTPException(400)
            now = int(self.clock().timestamp())
            claims = {
                "iss": self.url,
                "sub": "somebody",
                "aud": CLIENT,
                "iat": now,
                "exp": now + 300,
                "nonce": asked["nonce"],
                "email": self.email,
                "email_verified": self.verified,
            }
            self.bend(claims)
            header = {"alg": "RS256", "kid": platform_key().kid}
            made = jwt.encode(header, claims, self.signing)
            return {"access_token": "x", "token_type": "Bearer", "id_token": made}

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


def sign_in(client: TestClient, provider: Provider, next: str = "/join") -> Response:
    begun = client.get("/sign-in/openid", params={"next": next})
    assert begun.status_code == 302, begun.text
    return client.get(provider.signed_in(begun.headers["location"]))  # type: ignore[return-value]


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
