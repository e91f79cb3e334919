"""The brake on guessing: who waits, how long, and who does not."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from server.store import guesses
from server.store.database import Database
from server.store.guesses import Guess, begin_guess, forget_guesses, source_of_address
from tests.factories import NOON

SECOND = timedelta(seconds=1)
ACCOUNT, HERE, ELSEWHERE = "a@larkmoor.example", "10.0.0.1", "10.0.0.2"


def test_each_wrong_guess_costs_a_longer_wait(database: Database) -> None:
    now, waits = NOON, []
    with database.write() as session:
        for _ in range(guesses.FREE + 9):
            wait = begin_guess(session, ACCOUNT, HERE, now)
            waits.append(wait / SECOND)
            now += wait
            if wait:
                assert not begin_guess(session, ACCOUNT, HERE, now)
    assert waits == [0] * guesses.FREE + [1, 2, 4, 8, 16, 32, 60, 60, 60]


def test_a_guess_that_has_to_wait_is_not_counted(database: Database) -> None:
    with database.write() as session:
        for _ in range(guesses.FREE):
            begin_guess(session, ACCOUNT, HERE, NOON)
        for _ in range(100):
            assert begin_guess(session, ACCOUNT, HERE, NOON) == SECOND
        assert len(session.scalars(select(Guess)).all()) == guesses.FREE


def test_nobody_elsewhere_waits_for_a_guesser(database: Database) -> None:
    with database.write() as session:
        for number in range(300):
            begin_guess(session, ACCOUNT, HERE, NOON + number * SECOND)
        now = NOON + 300 * SECOND
        assert begin_guess(session, ACCOUNT, HERE, now)
        assert not begin_guess(session, ACCOUNT, ELSEWHERE, now)
        assert not begin_guess(session, ACCOUNT, guesses.source_of_browser("known"), now)


def test_a_lab_behind_one_address_is_not_locked_out(database: Database) -> None:
    with database.write() as session:
        for number in range(3 * guesses.MANY_FROM_ONE):
            assert not begin_guess(session, f"{number}@larkmoor.example", HERE, NOON)
        assert not begin_guess(session, ACCOUNT, HERE, NOON)


@pytest.mark.parametrize("what", ["one account from everywhere", "every account from one place"])
def test_under_attack_there_are_fewer_free_tries(database: Database, what: str) -> None:
    with database.write() as session:
        for number in range(guesses.MANY_FROM_ONE):
            account, place = (ACCOUNT, f"10.1.0.{number}"), (f"{number}@x.example", HERE)
            begin_guess(session, *(account if what.startswith("one") else place), NOON)
        waits = [bool(begin_guess(session, ACCOUNT, HERE, NOON)) for _ in range(3)]
    assert waits == [False, False, True]


def test_a_right_guess_forgets_those_from_there_alone(database: Database) -> None:
    with database.write() as session:
        for place in (HERE, ELSEWHERE):
            for _ in range(guesses.FREE):
                begin_guess(session, ACCOUNT, place, NOON)
        forget_guesses(session, ACCOUNT, HERE)
        assert not begin_guess(session, ACCOUNT, HERE, NOON)
        assert begin_guess(session, ACCOUNT, ELSEWHERE, NOON)


def test_guesses_are_forgotten_after_a_while_and_hold_no_names(database: Database) -> None:
    with database.write() as session:
        begin_guess(session, "a password by mistake", HERE, NOON)
        assert all("mistake" not in each.target for each in session.scalars(select(Guess)))
        begin_guess(session, ACCOUNT, HERE, NOON + guesses.WINDOW)
        assert len(session.scalars(select(Guess)).all()) == 1


@pytest.mark.parametrize(
    ("address", "source"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        # One customer has a /64 of IPv6 addresses, or more.
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("testclient", "testclient"),
    ],
)
def test_where_somebody_comes_from(address: str, source: str) -> None:
    assert source_of_address(address) == source
