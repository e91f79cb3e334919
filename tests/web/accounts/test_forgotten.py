"""A forgotten password: the link comes by mail, and nobody learns who has an account."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI

from server.settings import MailServer
from server.store.accounts import disable_account
from server.store.database import Database
from server.store.people import Role, User, get_person, verify_password
from tests.factories import NOON, Clock, make_user
from tests.mail_server import Letters, mail_server
from tests.web.lab import ClientFor

NEW = "quince-press-9"


@pytest.fixture
def letters(app: FastAPI) -> Iterator[Letters]:
    with mail_server() as letters:
        app.state.settings = replace(
            app.state.settings, mail_server=letters.server, mail_from="lab@larkmoor.example"
        )
        yield letters


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session)


def test_the_link_comes_by_mail_and_sets_a_password(
    client_for: ClientFor, database: Database, user: User, letters: Letters
) -> None:
    client = client_for(None)
    assert client.post("/forgotten", data={"email": user.email.upper()}).status_code == 200
    ((to, message),) = letters.taken
    assert to == [user.email]
    assert message["From"] == "lab@larkmoor.example"
    text = message.get_payload(decode=True)
    assert isinstance(text, bytes)
    found = re.search(r"/password\?link=([\w-]+)", text.decode())
    assert found is not None
    form = {"link": found[1], "password": NEW}
    assert client.post("/password", data=form).headers["location"] == "/sign-in"
    with database.read() as session:
        assert verify_password(NEW, get_person(session, user.id).password_hash)[0]
    assert client.post("/password", data=form).status_code == 422


def test_nobody_learns_who_has_an_account(
    client_for: ClientFor, database: Database, user: User, letters: Letters
) -> None:
    with database.write() as session:
        other = make_user(session)
        disable_account(session, other, by_id=None, now=NOON)
        overseer = make_user(session, Role.DEPARTMENT)
    client = client_for(None)
    addresses = (user.email, other.email, overseer.email, "nobody@larkmoor.example")
    pages = {client.post("/forgotten", data={"email": each}).text for each in addresses}
    assert len(pages) == 1
    assert [to for to, _ in letters.taken] == [[user.email]]


def test_nobody_is_flooded_with_mail(
    client_for: ClientFor, user: User, letters: Letters, clock: Clock
) -> None:
    client = client_for(None)
    answers = [client.post("/forgotten", data={"email": user.email}) for _ in range(7)]
    assert [each.status_code for each in answers] == [200] * 5 + [429] * 2
    assert "Too many" in answers[-1].text
    assert len(letters.taken) == 1
    clock.now += timedelta(minutes=5)
    client.post("/forgotten", data={"email": user.email})
    assert len(letters.taken) == 2


def test_without_a_server_mail_is_kept_in_a_folder(
    client_for: ClientFor, app: FastAPI, user: User, tmp_path: Path
) -> None:
    app.state.settings = replace(app.state.settings, mail_folder=tmp_path / "mail")
    client = client_for(None)
    assert "This server sends no mail" in client.get("/forgotten").text
    client.post("/forgotten", data={"email": user.email})
    (file,) = (tmp_path / "mail").iterdir()
    assert "/password?link=" in file.read_text()
    assert (tmp_path / "mail").stat().st_mode & 0o077 == 0


def test_a_server_that_is_away_changes_nothing(
    client_for: ClientFor, app: FastAPI, user: User, letters: Letters
) -> None:
    app.state.settings = replace(
        app.state.settings, mail_server=MailServer("127.0.0.1", 1, False, "", "")
    )
    assert client_for(None).post("/forgotten", data={"email": user.email}).status_code == 200
    assert letters.taken == []
