"""The second factor: setting it up, signing in with it, losing it."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from html import unescape

import pyotp
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.settings import Settings
from server.store import guesses, second_factors
from server.store.database import Database
from server.store.people import Role, User
from server.web.access import COOKIE
from tests.factories import PASSWORD, Clock, make_user

ClientFor = Callable[[User | None], TestClient]


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.ADMINISTRATOR)


def set_up(client: TestClient, now: datetime) -> tuple[pyotp.TOTP, list[str]]:
    """Turn it on as a person does; the app, and the recovery codes."""
    assert client.post("/second-factor/begin").headers["location"] == "/second-factor"
    page = client.get("/second-factor").text
    assert "<svg" in page
    found = re.search(r'<code class="break">([A-Z2-7 ]+)</code>', page)
    assert found is not None
    app = pyotp.TOTP(found[1].replace(" ", ""))
    answer = client.post("/second-factor", data={"code": app.at(now)})
    assert answer.status_code == 200
    return app, re.findall(r"<code>([a-z0-9-]+)</code>", answer.text)


def give_password(client: TestClient, user: User, next: str = "/people") -> str:
    form = {"email": user.email, "password": PASSWORD, "next": next}
    return str(client.post("/sign-in", data=form).headers["location"])


def give_code(client: TestClient, code: str) -> int:
    return client.post("/sign-in/code", data={"code": code, "next": "/people"}).status_code


def test_the_code_is_asked_for_after_the_password(
    client_for: ClientFor, user: User, clock: Clock
) -> None:
    app, codes = set_up(client_for(user), clock())
    assert len(set(codes)) == second_factors.RECOVERY_CODES
    client = client_for(None)
    assert give_password(client, user) == "/sign-in/code?next=%2Fpeople"
    # The password alone opens nothing.
    assert client.get("/people").status_code == 303
    clock.now += timedelta(seconds=30)
    before = client.cookies[COOKIE]
    answer = client.post("/sign-in/code", data={"code": app.at(clock()), "next": "/people"})
    assert answer.headers["location"] == "/people"
    assert client.cookies[COOKIE] != before
    assert client.get("/people").status_code == 200


def test_a_code_is_good_once_and_only_now(client_for: ClientFor, user: User, clock: Clock) -> None:
    app, codes = set_up(client_for(user), clock())
    used = app.at(clock())
    client = client_for(None)
    for code, after in (
        (used, 0),
        (app.at(clock() + timedelta(minutes=2)), 0),
        ("000000", 0),
        ("", 0),
        (used, 10),
    ):
        give_password(client, user)
        clock.now += timedelta(minutes=after)
        assert give_code(client, code) != 303 or client.get("/people").status_code == 303
    give_password(client, user)
    spelled = codes[0].upper().replace("-", " ")
    assert give_code(client, spelled) == 303
    assert client.get("/people").status_code == 200
    give_password(client, user)
    assert give_code(client, codes[0]) == 422


def test_codes_are_not_guessed(client_for: ClientFor, user: User, clock: Clock) -> None:
    app, _ = set_up(client_for(user), clock())
    client = client_for(None)
    give_password(client, user)
    tried = [give_code(client, f"{n:06}") for n in range(guesses.FREE + 1)]
    assert tried == [422] * (guesses.FREE + 1)
    clock.now += timedelta(minutes=1)
    right = app.at(clock())
    assert [give_code(client, "000000"), give_code(client, right)] == [422, 422]
    clock.now += timedelta(minutes=2)
    assert give_code(client, app.at(clock())) == 303


def test_setting_it_up_signs_out_who_showed_no_code(
    client_for: ClientFor, user: User, clock: Clock
) -> None:
    other, client = client_for(user), client_for(user)
    set_up(client, clock())
    assert other.get("/people").status_code == 303
    assert client.get("/people").status_code == 200


def test_it_is_turned_off_with_a_code_only(client_for: ClientFor, user: User, clock: Clock) -> None:
    client = client_for(user)
    _, codes = set_up(client, clock())
    assert client.post("/second-factor/off", data={"code": "123456"}).status_code == 422
    renewed = client.post("/second-factor/codes", data={"code": codes[0]}).text
    (*_, fresh) = re.findall(r"<code>([a-z0-9-]+)</code>", renewed)
    assert client.post("/second-factor/off", data={"code": codes[1]}).status_code == 422
    assert client.post("/second-factor/off", data={"code": fresh}).status_code == 303
    assert give_password(client_for(None), user) == "/people"


def test_an_administrator_without_one_can_only_set_it_up_where_it_is_required(
    app: FastAPI, client_for: ClientFor, user: User, clock: Clock
) -> None:
    asked: Settings = app.state.settings
    object.__setattr__(asked, "second_factor_required", True)
    client = client_for(user)
    assert client.get("/people").headers["location"] == "/second-factor"
    assert client.post("/terms").status_code == 403
    assert "Administrators need a second factor" in unescape(client.get("/second-factor").text)
    set_up(client, clock())
    assert client.get("/people").status_code == 200


def test_an_administrator_removes_it_for_another(
    client_for: ClientFor, user: User, database: Database, clock: Clock
) -> None:
    with database.write() as session:
        other = make_user(session, Role.INSTRUCTOR)
    set_up(client_for(other), clock())
    page = client_for(user).get("/people").text
    assert f"Remove the second factor of {other.name}" in page
    client_for(user).post(f"/people/{other.id}/remove-second-factor")
    assert give_password(client_for(None), other, "/") == "/"


def test_a_secret_is_unreadable_with_a_key_secret(database: Database, clock: Clock) -> None:
    with database.write() as session:
        user = make_user(session)
        shared = second_factors.begin_factor(session, user.id, "the college's secret")
        kept = session.get_one(second_factors.SecondFactor, user.id).secret
        assert shared not in str(kept)
        code = pyotp.TOTP(shared).at(clock())
        assert second_factors.confirm_factor(session, user.id, code, clock(), "lost") is None
        assert second_factors.confirm_factor(
            session, user.id, code, clock(), "the college's secret"
        )


def test_students_have_none(client_for: ClientFor, database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
    assert client_for(student).get("/second-factor").status_code == 403
