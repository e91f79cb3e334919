"""The server is killed without a warning: what was recorded is there when it comes back."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import sleep
from typing import Any

import pytest
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from server.store.courses import SectionRole
from server.store.database import Database
from server.store.trials import LATEST, find_trial
from server.web.access import COOKIE
from tests.factories import EXERCISES, make_assignment, make_section, make_user, sign_in
from tests.load.trial_runs import free_port

PRESS = {"control": "panel.start_pb", "on": True}


@pytest.fixture
def port() -> int:
    return free_port()


@contextmanager
def serving(database: Database, port: int) -> Iterator["subprocess.Popen[str]"]:
    """A server of its own process on the test's database; it is killed at the end."""
    environment = os.environ | {
        "RUNGMARK_DATABASE_URL": database.place,
        "RUNGMARK_EXERCISES": str(EXERCISES),
    }
    folder = Path(database.place.removeprefix("sqlite:///")).parent
    server = subprocess.Popen(
        [sys.executable, "-m", "server.cli", "serve", "--port", str(port), "--data", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )
    try:
        assert server.stdout is not None
        assert any("Rungmark is at" in line for line in server.stdout)
        yield server
    finally:
        server.send_signal(signal.SIGKILL)
        server.communicate()


def until(socket: ClientConnection, scan: int) -> dict[str, Any]:
    """Read frames up to the one that tells this scan; all values shown so far by key."""
    keys: list[str] = []
    values: dict[str, Any] = {}
    while True:
        frame = json.loads(socket.recv())
        keys = frame.get("layout", {}).get("keys", keys)
        values |= {keys[index]: value for index, value in frame.get("values", ())}
        if frame["scan"] == scan:
            return values


def test_a_killed_server_comes_back_with_the_run(database: Database, port: int) -> None:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        now = datetime.now(UTC)
        opens, due = now - timedelta(days=1), now + timedelta(days=1)
        assignment = make_assignment(
            session, section, exercise="wash-sump", opens_at=opens, due_at=due
        )
        token = sign_in(session, student, now)

    def page() -> ClientConnection:
        return connect(
            f"ws://127.0.0.1:{port}/assignments/{assignment.id}/trial/socket",
            origin=Origin(f"http://127.0.0.1:{port}"),
            additional_headers={"Cookie": f"{COOKIE}={token}"},
        )

    with serving(database, port), page() as socket:
        socket.send(json.dumps({"do": "act", "action": PRESS}))
        for _ in range(12):
            socket.send(json.dumps({"do": "scan"}))
        until(socket, 12)
        while not stored(database, assignment.id, student.id):
            sleep(0.1)
    with serving(database, port), page() as socket:
        assert until(socket, 12)["panel.start_pb"] == 1


def stored(database: Database, assignment_id: int, user_id: int) -> bool:
    with database.read() as session:
        found = find_trial(session, assignment_id, user_id, LATEST)
        return found is not None and found.scans == 12
