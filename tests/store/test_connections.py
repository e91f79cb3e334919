"""Connections to PostgreSQL: bounded, told, and those of a running server keep a restore away."""

from contextlib import ExitStack, closing
from pathlib import Path

import pytest
from sqlalchemy.exc import TimeoutError as NoneLeft

from server.cli import main
from server.store.connections import (
    MOST,
    SERVING,
    WORKING,
    Connections,
    connections_now,
    processes_that_use,
)
from server.store.database import Database
from server.store.transfer import back_up
from tests.postgresql import PostgreSQL

ALLOWED = 97
"""PostgreSQL's 100 less 3 for its superusers
(https://www.postgresql.org/docs/current/runtime-config-connection.html; from memory)."""


def test_a_process_takes_no_more_than_its_share(postgres: PostgreSQL) -> None:
    with postgres.database() as found, ExitStack() as stack:
        url = found.address.render_as_string(hide_password=False)
        database = stack.enter_context(closing(Database(url, most=2, process=WORKING)))
        database.engine.pool._timeout = 0.01  # type: ignore[attr-defined]
        for _ in range(2):
            stack.enter_context(database.engine.connect())
        with pytest.raises(NoneLeft):
            stack.enter_context(database.engine.connect())
        assert processes_that_use(found) == 2
        now = connections_now(found)
        assert now.allowed == ALLOWED
        assert now.taken >= 2


def test_two_web_processes_and_two_workers_fit() -> None:
    assert 2 * MOST[SERVING] + 2 * MOST[WORKING] < ALLOWED
    assert "start fewer" not in Connections(ALLOWED, 20).describe(SERVING)
    assert "Raise max_connections in postgresql.conf, or start fewer processes." in Connections(
        ALLOWED, 90
    ).describe(SERVING)


def test_nothing_is_restored_or_copied_below_a_running_server(
    postgres: PostgreSQL,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    with postgres.database() as found:
        back_up(found, tmp_path / "a.backup")
        url = found.address.render_as_string(hide_password=False)
        monkeypatch.setenv("RUNGMARK_DATABASE_URL", url)
        with closing(Database(url, process=SERVING)) as serving, serving.engine.connect():
            for line in (
                ["restore", str(tmp_path / "a.backup"), "--over"],
                ["copy", url, f"sqlite:///{tmp_path}/b.db"],
            ):
                assert main(line) == 2
                told = capsys.readouterr().err
                assert "Servers or workers use the database postgresql" in told
                assert told.endswith("Stop them all, then try again.\n")
        assert main(["restore", str(tmp_path / "a.backup"), "--over"]) == 0
        assert main(["copy", url, f"sqlite:///{tmp_path}/b.db"]) == 0
