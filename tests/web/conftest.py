"""The application on a test's database, and clients of it, signed in or not."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.settings import Settings
from server.store.database import Database
from server.store.people import User
from server.web.access import COOKIE
from server.web.app import create_app
from tests.factories import EXERCISES, Clock, sign_in
from tests.postgresql import marked_beside
from tests.web.lab import ClientFor, Lab, open_lab
from tests.web.units_of_work import UnitsOfWork

SITE = "http://testserver"


@pytest.fixture
def exercises() -> Path:
    """The folder of exercises that the application serves."""
    return EXERCISES


@pytest.fixture(autouse=True)
def only_statements(database: Database) -> Iterator[None]:
    """No writing unit of work does work of the core."""
    units = UnitsOfWork(database)
    yield
    assert not units.found


@pytest.fixture
def app(database: Database, clock: Clock, exercises: Path) -> Iterator[FastAPI]:
    settings = Settings(database_url=database.place, public_urls=(SITE,), exercises=exercises)
    app = create_app(settings, database, clock)
    with marked_beside(app):
        yield app
    app.state.worker.stop()
    app.state.outside.close()


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
        )
        clients.append(client)
        if user is not None:
            with database.write() as session:
                token = sign_in(session, user, clock())
            client.cookies.set(COOKIE, token)
        return client

    yield client_for
    for client in clients:
        client.close()


@pytest.fixture
def lab(database: Database, client_for: ClientFor) -> Lab:
    return open_lab(database, client_for)
