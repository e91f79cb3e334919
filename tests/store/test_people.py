"""Accounts and passwords."""

import pytest
from sqlalchemy.exc import IntegrityError

from server.store import people
from server.store.database import Database
from tests.conftest import STRONG
from tests.factories import PASSWORD, make_user, password_hash


def test_a_password_fits_only_its_hash() -> None:
    assert people.verify_password(PASSWORD, password_hash()) == (True, None)
    assert people.verify_password(PASSWORD + "x", password_hash()) == (False, None)


def test_nobody_signs_in_without_a_stored_hash() -> None:
    assert people.verify_password("", None) == (False, None)


def test_a_weaker_hash_is_made_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    weak = people.hash_password(PASSWORD)
    monkeypatch.setattr(people, "PASSWORDS", STRONG)
    fits, better = people.verify_password(PASSWORD, weak)
    assert fits
    assert better is not None
    assert people.verify_password(PASSWORD, better) == (True, None)


@pytest.mark.parametrize(
    "typed",
    [
        "  {}",
        "{}\u3000\n",
        "PERSON@LARKMOOR.EXAMPLE",
        "ｐｅｒｓｏｎ@larkmoor.example",
    ],
)
def test_an_email_is_found_however_it_is_written(database: Database, typed: str) -> None:
    with database.write() as session:
        user = make_user(session)
        user.email = "person@larkmoor.example"
        session.flush()
        assert people.find_user(session, typed.format(user.email)) is user


def test_an_email_belongs_to_one_user(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        make_user(session).email = make_user(session).email
