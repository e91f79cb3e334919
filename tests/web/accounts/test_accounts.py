"""Signing in and out, and what a wrong password or a foreign page gets."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.store import guesses
from server.store.database import Database
from server.store.people import User
from server.web.access import COOKIE
from server.web.accounts import sign_in_line
from server.web.accounts.password_rules import weakness
from server.web.accounts.sign_in import BUSY, WRONG
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
    client = client_for(None)
    sign_in(client, user.email)
    for _ in range(7):
        clock.now += timedelta(minutes=100)
        assert client.get("/").status_code == 200
    clock.now += timedelta(minutes=20)
    assert client.get("/").status_code == 303


def test_an_idle_session_ends(client_for: ClientFor, user: User, clock: Clock) -> None:
    client = client_for(None)
    sign_in(client, user.email)
    clock.now += timedelta(hours=2)
    assert client.get("/").status_code == 303


@pytest.mark.parametrize("stay", [False, True])
def test_one_stays_signed_in_only_where_one_asked_for_it(
    client_for: ClientFor, user: User, clock: Clock, stay: bool
) -> None:
    client = client_for(None)
    form = {"email": user.email, "password": PASSWORD} | ({"stay": "true"} if stay else {})
    answer = client.post("/sign-in", data=form)
    (cookie,) = (each for each in answer.headers.get_list("set-cookie") if COOKIE in each)
    # A cookie without an age goes with the window: lab computers are shared.
    assert ("Max-Age=2592000" in cookie) is stay
    assert ("Max-Age" in cookie) is stay
    clock.now += timedelta(days=29)
    assert client.get("/").status_code == (200 if stay else 303)
    clock.now += timedelta(days=1)
    assert client.get("/").status_code == 303


def test_signing_in_again_ends_the_session_before(client_for: ClientFor, user: User) -> None:
    client = client_for(None)
    sign_in(client, user.email)
    before = client.cookies[COOKIE]
    sign_in(client, user.email)
    assert client.cookies[COOKIE] != before
    other = client_for(None)
    other.cookies.set(COOKIE, before)
    assert other.get("/").status_code == 303


@pytest.mark.parametrize("who", ["user", "stranger"])
def test_a_wrong_password_and_an_unknown_email_look_alike(
    client_for: ClientFor, user: User, who: str
) -> None:
    email = user.email if who == "user" else "stranger@larkmoor.example"
    answer = client_for(None).post("/sign-in", data={"email": email, "password": "wrong"})
    assert answer.status_code == 422
    assert WRONG in answer.text
    assert f'value="{email}"' in answer.text
    assert "set-cookie" not in answer.headers


def test_guesses_wait_longer_and_longer(client_for: ClientFor, user: User, clock: Clock) -> None:
    client = client_for(None)
    spellings = [user.email, f"  {user.email}", user.email.upper(), f"{user.email} " + 300 * " "]
    tried = [sign_in(client, spellings[n % 4], "wrong") for n in range(guesses.FREE)]
    assert tried == [422] * guesses.FREE
    answer = client.post("/sign-in", data={"email": 400 * " " + user.email, "password": PASSWORD})
    assert answer.status_code == 429
    assert "Too many wrong tries. Wait 1 seconds, then try again." in answer.text
    assert answer.headers["retry-after"] == "1"
    assert user.email in answer.text
    clock.now += timedelta(seconds=1)
    assert sign_in(client, user.email, "wrong") == 422
    clock.now += timedelta(seconds=1)
    assert sign_in(client, user.email) == 429
    clock.now += timedelta(seconds=1)
    assert sign_in(client, user.email) == 303


def test_an_account_that_is_not_there_waits_alike(client_for: ClientFor) -> None:
    client = client_for(None)
    tried = [sign_in(client, "nobody@larkmoor.example", "wrong") for _ in range(guesses.FREE + 1)]
    assert tried == [422] * guesses.FREE + [429]


def test_whoever_signed_in_in_this_browser_waits_for_no_guesser(
    client_for: ClientFor, user: User
) -> None:
    """Although both stand behind one address."""
    own, guesser = client_for(None), client_for(None)
    assert sign_in(own, user.email) == 303
    own.post("/sign-out")
    for _ in range(guesses.FREE + 1):
        sign_in(guesser, user.email, "wrong")
    assert sign_in(guesser, user.email) == 429
    assert sign_in(own, user.email) == 303


def test_a_full_line_is_told(
    client_for: ClientFor, user: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sign_in_line, "LONGEST_LINE", 0)
    answer = client_for(None).post("/sign-in", data={"email": user.email, "password": PASSWORD})
    assert answer.status_code == 429
    assert BUSY in answer.text


def test_a_disabled_account_is_told_only_with_its_password(
    client_for: ClientFor, user: User, database: Database, clock: Clock
) -> None:
    with database.write() as session:
        session.get_one(User, user.id).disabled_at = clock()
    client = client_for(None)
    assert sign_in(client, user.email, "wrong") == 422
    answer = client.post("/sign-in", data={"email": user.email, "password": PASSWORD})
    assert answer.status_code == 403
    assert "This account is disabled" in answer.text
    assert COOKIE not in client.cookies


@pytest.mark.parametrize(
    ("password", "taken"),
    [
        ("short", False),
        ("password123", False),
        ("qwertyuiop", False),
        ("aaaaaaaaaaaa", False),
        # What others know of somebody is guessed first.
        ("larkmoor-2026", False),
        ("takala2026!", False),
        ("crate lamp orchard seven", True),
        ("press-house-7", True),
        (200 * "x7-", False),
    ],
)
def test_a_password_that_is_guessed_first_is_refused(password: str, taken: bool) -> None:
    assert (weakness(password, "Wren Takala", "wren@larkmoor.example") is None) is taken


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


def test_a_server_without_accounts_says_how_to_add_one(
    client_for: ClientFor, database: Database
) -> None:
    command = "rungmark account add EMAIL --role administrator"
    assert command in client_for(None).get("/sign-in").text
    with database.write() as session:
        make_user(session)
    assert command not in client_for(None).get("/sign-in").text


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
