"""Signing in and out, and what a wrong password or a foreign page gets."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.store import people
from server.store.database import Database
from server.store.people import User
from server.web.access import COOKIE
from server.web.accounts import TOO_MANY, WRONG
from tests.factories import PASSWORD, Clock, make_user

ClientFor = Callable[[User | None], TestClient]


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session)


def sign_in(client: TestClient, email: str, password: str = PASSWORD, next: str = "/") -> int:
    form = {"email": email, "password": password, "next": next}
    return client.post("/sign-in", data=form).status_code


def test_a_student_signs_in_and_out(client_for: ClientFor, user: User) -> None:
    client = client_for(None)
    assert client.get("/").headers["location"] == "/sign-in?next=/"
    assert sign_in(client, user.email.upper()) == 303
    assert user.name in client.get("/").text
    token = client.cookies[COOKIE]
    assert client.post("/sign-out").headers["location"] == "/sign-in"
    # The old cookie is worth nothing, wherever it was copied to.
    client.cookies.set(COOKIE, token)
    assert client.get("/").status_code == 303


def test_the_cookie_is_out_of_reach_of_scripts(client_for: ClientFor, user: User) -> None:
    client = client_for(None)
    answer = client.post("/sign-in", data={"email": user.email, "password": PASSWORD})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


def test_a_session_ends_by_itself(client_for: ClientFor, user: User, clock: Clock) -> None:
    client = client_for(user)
    clock.now += timedelta(hours=11, minutes=59)
    assert client.get("/").status_code == 200
    clock.now += timedelta(minutes=1)
    assert client.get("/").status_code == 303


@pytest.mark.parametrize("who", ["user", "stranger"])
def test_a_wrong_password_and_an_unknown_email_look_alike(
    client_for: ClientFor, user: User, who: str
) -> None:
    email = user.email if who == "user" else "stranger@larkmoor.example"
    answer = client_for(None).post("/sign-in", data={"email": email, "password": "wrong"})
    assert answer.status_code == 422
    assert WRONG.replace("'", "&#39;") in answer.text
    assert f'value="{email}"' in answer.text
    assert "set-cookie" not in answer.headers


def test_too_many_guesses_must_wait_even_with_the_right_password(
    client_for: ClientFor, user: User, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(people, "ATTEMPTS_PER_EMAIL", 2)
    client = client_for(None)
    assert [sign_in(client, user.email, "wrong") for _ in range(2)] == [422, 422]
    answer = client.post("/sign-in", data={"email": user.email, "password": PASSWORD})
    assert answer.status_code == 429
    assert TOO_MANY in answer.text
    clock.now += timedelta(minutes=15)
    assert sign_in(client, user.email) == 303


@pytest.mark.parametrize(
    ("wanted", "got"),
    [
        ("/assignments/3?x=1", "/assignments/3?x=1"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("/\\elsewhere.example/", "/"),
        ("/\r\nSet-Cookie: a=b", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
    ],
)
def test_after_signing_in_one_stays_on_this_server(
    client_for: ClientFor, user: User, wanted: str, got: str
) -> None:
    form = {"email": user.email, "password": PASSWORD, "next": wanted}
    assert client_for(None).post("/sign-in", data=form).headers["location"] == got


def test_the_address_one_wanted_is_kept(client_for: ClientFor) -> None:
    answer = client_for(None).get("/assignments/3/gradebook?sort=name&x=%2F")
    assert answer.headers["location"] == (
        "/sign-in?next=/assignments/3/gradebook%3Fsort%3Dname%26x%3D%252F"
    )


def test_markup_in_the_form_comes_back_as_text(client_for: ClientFor) -> None:
    form = {"email": '"><script>alert(1)</script>', "password": "x", "next": '"><b>'}
    answer = client_for(None).post("/sign-in", data=form)
    assert "<script>alert" not in answer.text
    assert "<b>" not in answer.text


@pytest.mark.parametrize("field", ["email", "password"])
def test_an_endless_field_is_refused(client_for: ClientFor, user: User, field: str) -> None:
    form = {"email": user.email, "password": PASSWORD, field: "x" * 100_000}
    assert client_for(None).post("/sign-in", data=form).status_code == 422
