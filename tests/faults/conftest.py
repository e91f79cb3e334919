"""Faults on either kind of database."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest

from server.jobs.queue import prepare_queue
from server.store.database import Database
from tests.faults.processes import running
from tests.postgresql import PostgreSQL


@pytest.fixture
def on_postgresql(postgres: PostgreSQL) -> Iterator[Database]:
    with postgres.database() as database:
        prepare_queue(database)
        yield database


@pytest.fixture(params=["sqlite", "postgresql"])
def either(request: pytest.FixtureRequest) -> Database:
    found: Database = request.getfixturevalue(
        "on_postgresql" if request.param == "postgresql" else "database"
    )
    return found


@contextmanager
def workers(database: Database, number: int = 1) -> Iterator[None]:
    """On SQLite the web process marks by itself."""
    with ExitStack() as stack:
        for _ in range(0 if database.is_sqlite else number):
            stack.enter_context(running(database, "work"))
        yield
