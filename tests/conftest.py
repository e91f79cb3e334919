"""What holds for every test: browser tests run last, and CI takes no skip for a missing tool.

Also the fixtures of store, web and browser: a migrated database for each test, copied from one
that is migrated once; a clock that stands still; the application; signed-in clients.
"""

import os
import shutil
from collections.abc import Callable, Generator, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from hypothesis import settings
from starlette.testclient import TestClient

from server.settings import Settings
from server.store.database import Database
from server.store.migration import migrate
from server.store.people import User, begin_session
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import NOON, Clock

# The same examples in every run, and no judgement by the clock.
settings.register_profile("rungmark", derandomize=True, deadline=None)
settings.load_profile("rungmark")

TESTS = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # Playwright's sync interface leaves an event loop running, which breaks asyncio.run() in any
    # test after it.
    items.sort(key=lambda item: (TESTS / "browser") in item.path.parents)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    expected = hasattr(report, "wasxfail") or item.get_closest_marker("needs_rtamt")
    if report.skipped and os.environ.get("CI") == "true" and not expected:
        report.outcome = "failed"
        report.longrepr = f"{report.longrepr}\nNo test is skipped in CI; install what it needs."
    return report


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("migrated") / "rungmark.db"
    database = Database(f"sqlite:///{file}")
    migrate(database)
    database.close()
    return file


@pytest.fixture
def database(migrated_file: Path, tmp_path: Path) -> Iterator[Database]:
    file = tmp_path / "rungmark.db"
    shutil.copyfile(migrated_file, file)
    database = Database(f"sqlite:///{file}")
    yield database
    database.close()


@pytest.fixture
def clock() -> Clock:
    return Clock(NOON)


@pytest.fixture
def app(database: Database, clock: Clock) -> FastAPI:
    return create_app(Settings(database_url=database.place, public_urls=(SITE,)), database, clock)


SITE = "http://testserver"


@pytest.fixture
def client_for(
    app: FastAPI, database: Database, clock: Clock
) -> Iterator[Callable[[User | None], TestClient]]:
    """Makes a client of the application, signed in as a user or as nobody."""
    clients = []

    def client_for(user: User | None) -> TestClient:
        client = TestClient(
            app,
            base_url=SITE,
            headers={"Origin": SITE},
            follow_redirects=False,
            raise_server_exceptions=False,
        )
        clients.append(client)
        if user is not None:
            with database.write() as session:
                token = begin_session(session, user, clock(), timedelta(hours=12))
            client.cookies.set(COOKIE, token)
        return client

    yield client_for
    for client in clients:
        client.close()
