"""Other sites' pages, large bodies, and the headers that every answer carries."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from starlette.testclient import TestClient

from server.store.database import Database
from server.store.people import User
from server.store.sessions import BrowserSession
from tests.factories import make_user
from tests.web.conftest import SITE

ClientFor = Callable[[User | None], TestClient]


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session)


def signed_in(database: Database) -> bool:
    with database.read() as session:
        return session.scalars(select(BrowserSession)).first() is not None


@pytest.mark.parametrize(
    ("headers", "trusted"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, True),
        ({"Origin": SITE}, True),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}, False),
        ({"Sec-Fetch-Site": "same-site", "Origin": "http://other.testserver"}, False),
        ({"Sec-Fetch-Site": "none"}, False),
        ({"Sec-Fetch-Site": "cross-site", "Origin": SITE}, False),
        ({"Origin": "null"}, False),
        ({"Origin": "http://testserver.elsewhere.example"}, False),
        ({"Origin": "https://testserver"}, False),
        ({}, False),
    ],
)
def test_a_form_sent_from_another_site_changes_nothing(
    client_for: ClientFor,
    database: Database,
    user: User,
    headers: dict[str, str],
    trusted: bool,
) -> None:
    client = client_for(user)
    del client.headers["Origin"]
    answer = client.post("/sign-out", headers=headers)
    assert answer.status_code == (303 if trusted else 403)
    assert signed_in(database) is not trusted
    if not trusted:
        assert "This form was sent from another site." in answer.text


@pytest.mark.parametrize("says_length", [True, False])
def test_a_body_over_the_limit_is_refused(
    client_for: ClientFor, database: Database, user: User, says_length: bool
) -> None:
    def chunks() -> Iterator[bytes]:
        for _ in range(20):
            yield b"x" * 100_000

    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    body = b"email=" + b"x" * 2_000_000 if says_length else chunks()
    answer = client_for(None).post("/sign-in", content=body, headers=headers)
    assert answer.status_code == 413
    assert "larger than 1000 kB, the limit here" in answer.text
    assert not signed_in(database)


@pytest.mark.parametrize("path", ["/", "/sign-in", "/nothing-here", "/static/sheet.css"])
def test_every_answer_carries_the_headers(client_for: ClientFor, path: str) -> None:
    headers = client_for(None).get(path).headers
    policy = headers["content-security-policy"]
    assert "script-src 'self'; style-src 'self'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    expected = "no-cache" if path.startswith("/static") else "no-store"
    assert headers["cache-control"] == expected


def test_a_mistake_of_ours_tells_nothing_and_carries_the_headers(app: FastAPI) -> None:
    def broken() -> None:
        raise RuntimeError("a secret of the inside")

    app.state.clock = broken
    answer = TestClient(app, SITE, raise_server_exceptions=False).get("/sign-in")
    assert answer.status_code == 500
    assert "Something went wrong on the server" in answer.text
    assert "secret" not in answer.text
    assert "content-security-policy" in answer.headers


def test_head_is_answered_like_get_and_405_names_what_may_be_asked(client_for: ClientFor) -> None:
    client = client_for(None)
    for path in ("/sign-in", "/lti/keys", "/static/ink.css", "/health"):
        head, get = client.head(path), client.get(path)
        assert head.status_code == 200, path
        assert head.content == b""
        assert head.headers["Content-Length"] == get.headers["Content-Length"]
    for path, methods in (
        ("/lti/launch", "POST"),
        ("/lti/keys", "GET, HEAD"),
        ("/lti/login", "GET, HEAD, POST"),
        ("/platforms", "GET, HEAD, POST"),
    ):
        refused = client.delete(path)
        assert (refused.status_code, refused.headers["Allow"]) == (405, methods)
