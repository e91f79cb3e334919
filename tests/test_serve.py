"""`rungmark serve`: it serves until stopped, or says in one sentence why it can't begin."""

import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest
from sqlalchemy import func, select

from server.cli import main
from server.demo import course as demo
from server.demo.people import INSTRUCTOR, STAFF, STUDENT, STUDENTS
from server.settings import read_settings
from server.store.courses import Section, students_of
from server.store.database import Database, DatabaseTrouble
from server.store.people import User
from tests.factories import NOON, make_user


@pytest.fixture
def taken() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        yield listening


def refusal(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["serve", *words]) == 2
    printed = capsys.readouterr()
    # What is shown while it loads.
    assert printed.out == "Loading Rungmark …\n"
    assert len(printed.err.splitlines()) == 1
    return printed.err.strip()


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port: int = listening.getsockname()[1]
    return port


def test_a_port_in_use(
    capsys: pytest.CaptureFixture[str], taken: socket.socket, tmp_path: Path
) -> None:
    port = taken.getsockname()[1]
    assert refusal(capsys, "--port", str(port), "--data", str(tmp_path)) == (
        f"rungmark serve: Port {port} of 127.0.0.1 can't be taken: address already in use. "
        "Stop the program that uses it, or name another with --port."
    )
    assert list(tmp_path.iterdir()) == []


def test_an_address_that_is_none(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    told = refusal(capsys, "--host", "a..b", "--data", str(tmp_path))
    assert told == "rungmark serve: There is no address a..b. Name another with --host."


def test_a_data_folder_below_a_missing_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    data = tmp_path / "missing" / "data"
    assert refusal(capsys, "--port", str(free_port()), "--data", str(data)) == (
        f"rungmark serve: The data folder {data} can't be made: no such file or directory. "
        "Make the folder above it, or name another with --data."
    )


def test_a_file_that_is_no_database(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "rungmark.db"
    file.write_text("a lab report, not a database\n" * 100)
    told = refusal(capsys, "--port", str(free_port()), "--data", str(tmp_path))
    assert told.startswith(f"rungmark serve: The file of sqlite:///{file} is not a database.")


def test_the_demo_is_not_loaded_into_a_real_course(database: Database) -> None:
    with database.write() as session:
        make_user(session)
    with pytest.raises(DatabaseTrouble, match="holds a real course"), database.write() as session:
        demo.load_demo(session, [], NOON)
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(User)) == 1


def test_the_demo_is_loaded_once(database: Database) -> None:
    for loaded in (True, False):
        with database.write() as session:
            assert demo.load_demo(session, [], NOON) is loaded
    with database.read() as session:
        emails = session.scalars(select(User.email)).all()
        sections = session.scalars(select(Section)).all()
        assert [len(students_of(session, section.id)) for section in sections] == [20, 20, 20, 14]
    assert len(emails) == len(STUDENTS) + len(STAFF)
    # Reserved for examples by RFC 2606, so that none of these belongs to anybody.
    assert all(email.isascii() and email.endswith("@larkmoor.example") for email in emails)
    assert {STUDENT, INSTRUCTOR} <= set(emails)


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    urls = "https://lab.larkmoor.example/ https://lab2.larkmoor.example"
    monkeypatch.setenv("RUNGMARK_DATABASE_URL", "postgresql+psycopg://lab@db/rungmark")
    monkeypatch.setenv("RUNGMARK_PUBLIC_URLS", urls)
    settings = read_settings(Path("data"), "127.0.0.1", 8131)
    assert settings.database_url == "postgresql+psycopg://lab@db/rungmark"
    assert settings.public_urls == (
        "https://lab.larkmoor.example",
        "https://lab2.larkmoor.example",
    )
    assert settings.by_tls("lab.larkmoor.example")


def test_it_serves_the_demo_until_it_is_stopped(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "server.cli", "serve", "--demo"]
    options = ["--port", str(free_port()), "--data", str(tmp_path / "data")]
    with subprocess.Popen([*command, *options], stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            printed = []
            for line in server.stdout:
                printed.append(line)
                if "Rungmark is at" in line:
                    break
            address = printed[-1].split()[3]
            with urlopen(f"{address}/sign-in") as answer:
                page = answer.read().decode()
            assert "<h1>Sign in</h1>" in page
            with urlopen(f"{address}/static/vendor/htmx/htmx.min.js") as answer:
                assert answer.status == 200
            told = "".join(printed)
            assert "all of it is invented" in told
            assert STUDENT in told
            assert demo.PASSWORD in told
        finally:
            server.send_signal(signal.SIGINT)
        assert server.wait(timeout=30) == 0
