"""Passwords, sessions, and the brake on guessing."""

from datetime import timedelta

import pytest
from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from server.store import people
from server.store.database import Database
from server.store.people import BrowserSession, User
from tests.factories import NOON, PASSWORD, make_user, password_hash

HOUR = timedelta(hours=1)


def test_a_password_fits_only_its_hash() -> None:
    assert people.verify_password(PASSWORD, password_hash()) == (True, None)
    assert people.verify_password(PASSWORD + "x", password_hash()) == (False, None)


def test_nobody_signs_in_without_a_stored_hash() -> None:
    assert people.verify_password("", None) == (False, None)


def test_a_weaker_hash_is_made_anew() -> None:
    weak = Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)
    fits, better = people.verify_password(PASSWORD, weak)
    assert fits
    assert better is not None
    assert people.verify_password(PASSWORD, better) == (True, None)


def test_an_email_is_found_whatever_its_case(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        assert people.find_user(session, f"  {user.email.upper()} ") is user


def test_an_email_belongs_to_one_user(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        make_user(session).email = make_user(session).email


def test_a_token_leads_to_its_user_until_the_session_ends(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        token = people.begin_session(session, user, NOON, HOUR)
        assert people.session_user(session, token, NOON) is user
        assert people.session_user(session, token + "x", NOON) is None
        assert people.session_user(session, token, NOON + HOUR) is None
        people.end_session(session, token)
        assert people.session_user(session, token, NOON) is None


def test_a_token_is_not_stored(database: Database) -> None:
    with database.write() as session:
        token = people.begin_session(session, make_user(session), NOON, HOUR)
        assert token not in session.scalars(select(BrowserSession.token_hash)).all()


def test_sessions_that_have_ended_are_swept(database: Database) -> None:
    with database.write() as session:
        people.begin_session(session, make_user(session), NOON, HOUR)
        people.begin_session(session, make_user(session), NOON + 2 * HOUR, HOUR)
        assert len(session.scalars(select(BrowserSession)).all()) == 1


def note(database: Database, user: User, address: str = "10.0.0.1", after: int = 0) -> bool:
    with database.write() as session:
        now = NOON + timedelta(minutes=after)
        return people.note_attempt(session, user.email.title(), address, now)


def test_the_eleventh_guess_waits_a_quarter_of_an_hour(database: Database) -> None:
    with database.write() as session:
        user, other = make_user(session), make_user(session)
    assert all(note(database, user) for _ in range(people.ATTEMPTS_PER_EMAIL))
    assert not note(database, user, address="10.0.0.2")
    assert note(database, other)
    assert not note(database, user, after=14)
    assert note(database, user, after=15)


def test_guesses_at_many_emails_from_one_address_wait(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(people, "ATTEMPTS_PER_ADDRESS", 3)
    with database.write() as session:
        users = [make_user(session) for _ in range(4)]
    assert [note(database, user) for user in users] == [True, True, True, False]
    assert note(database, users[0], address="10.0.0.2")


def test_success_takes_the_attempts_away(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
    for _ in range(people.ATTEMPTS_PER_EMAIL):
        note(database, user)
    with database.write() as session:
        people.begin_session(session, user, NOON, HOUR)
    assert note(database, user)
