"""`rungmark account`: what is done where no administrator can sign in."""

import re
import shutil
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pyotp
import pytest

from server.cli import main
from server.commands.account import first_account_command
from server.store.database import Database
from server.store.local_time import utc_clock
from server.store.passwords import set_password, user_of_link
from server.store.people import Role, find_user, has_people
from server.store.second_factors import begin_factor, confirm_factor, has_factor
from tests.factories import NOON, make_user

Run = Callable[..., tuple[int, str, str]]
EMAIL = "ada@larkmoor.example"


@pytest.fixture
def data(migrated_file: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "data"
    folder.mkdir()
    shutil.copy(migrated_file, folder / "rungmark.db")
    return folder


@pytest.fixture
def run(data: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs one task; returns the exit status and what was printed on each stream."""

    def run(*words: str) -> tuple[int, str, str]:
        status = main(["account", *words, "--data", str(data)])
        printed = capsys.readouterr()
        return status, printed.out, printed.err

    return run


def stored(data: Path) -> "closing[Database]":
    return closing(Database(f"sqlite:///{data}/rungmark.db"))


def test_the_first_administrator_comes_in_by_the_link(run: Run, data: Path) -> None:
    status, told, _ = run("add", f" {EMAIL.upper()}", "--role", "administrator", "--port", "9000")
    assert status == 0
    assert f"Added {EMAIL} as administrator." in told
    found = re.search(r"http://127\.0\.0\.1:9000/password\?link=(\S+)", told)
    assert found is not None
    with stored(data) as database, database.write() as session:
        user = find_user(session, EMAIL)
        assert user is not None
        assert (user.name, user.role) == ("ada", Role.ADMINISTRATOR)
        assert set_password(session, found[1], "hash", utc_clock()) is user
    # Locked out: another link replaces the password.
    status, told, _ = run("link", EMAIL)
    secret = told.split("link=")[1].strip()
    with stored(data) as database, database.read() as session:
        assert user_of_link(session, secret, utc_clock()) is not None


def test_an_account_is_made_on_a_new_database(tmp_path: Path) -> None:
    data = tmp_path / "new"
    assert main(["account", "add", EMAIL, "--data", str(data)]) == 0
    with stored(data) as database, database.read() as session:
        assert has_people(session)


def test_accounts_are_listed_disabled_and_enabled(run: Run) -> None:
    assert run("list")[1] == "There is no account yet.\n"
    run("add", EMAIL, "--name", "Ada Quist")
    assert run("list", "quist")[1] == f"{EMAIL}  student        Ada Quist\n"
    assert run("list", "nobody")[1] == "No account matches.\n"
    assert run("disable", EMAIL)[0] == 0
    assert "Ada Quist  (disabled)" in run("list")[1]
    status, _, told = run("link", EMAIL)
    assert status == 2
    assert "is disabled" in told
    assert run("enable", EMAIL)[0] == 0
    assert run("link", EMAIL)[0] == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["add", EMAIL], f"There is an account with {EMAIL} already."),
        (["link", "nobody@larkmoor.example"], "There is no account with the address nobody@"),
        (["remove-second-factor", EMAIL], f"The account of {EMAIL} has no second factor."),
    ],
)
def test_what_cannot_be_done_is_told(run: Run, words: list[str], sentence: str) -> None:
    run("add", EMAIL)
    status, _, told = run(*words)
    assert status == 2
    assert told.startswith(f"rungmark account: {sentence}")


def test_second_factor_is_removed(run: Run, data: Path) -> None:
    with stored(data) as database:
        with database.write() as session:
            user = make_user(session, Role.ADMINISTRATOR)
            code = pyotp.TOTP(begin_factor(session, user.id, "")).at(NOON)
            assert confirm_factor(session, user.id, code, NOON, "")
        status, told, _ = run("remove-second-factor", user.email.upper())
        assert status == 0
        assert f"The second factor of {user.email} is removed" in told
        with database.read() as session:
            assert not has_factor(session, user.id)


def test_the_command_for_the_first_account_names_what_is_unusual() -> None:
    usual = "rungmark account add EMAIL --role administrator"
    assert first_account_command(Path("data"), 8131) == usual
    assert first_account_command(Path("my lab"), 9000) == f"{usual} --data 'my lab' --port 9000"
