"""Other servers that never answer, while the pages go on."""

import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from starlette.testclient import TestClient

from server.remote import http
from server.store.database import Database
from server.store.lti import Platform as Registered
from server.web.app import REQUEST_THREADS
from tests.factories import Clock
from tests.web.conftest import SITE
from tests.web.launches import WANJIRU, platform_of, posted
from tests.web.lti_platform import Server


@contextmanager
def hanging() -> Iterator[str]:
    """The address of a host that takes connections and never answers, until it is closed."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as listening:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"


def test_pages_do_not_wait_for_a_hanging_key_host(
    app: FastAPI,
    database: Database,
    clock: Clock,
    lti_server: Server,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """More launches than there are threads for requests wait for keys; a page is answered."""
    monkeypatch.setattr(http, "SECONDS", 300.0)
    platform = platform_of(lti_server, database, clock, SITE)
    many = 2 * REQUEST_THREADS
    with (
        TestClient(app, base_url=SITE, follow_redirects=False) as client,
        ThreadPoolExecutor(many) as visitors,
    ):
        forms = [posted(client, platform, WANJIRU, "sump") for _ in range(many)]
        with hanging() as address:
            with database.write() as session:
                registered = session.scalars(select(Registered)).one()
                registered.keys_url = f"{address}/keys"
            launches = [visitors.submit(client.post, "/lti/launch", data=form) for form in forms]
            for _ in range(3):
                assert client.get("/sign-in").status_code == 200
            assert not any(launch.done() for launch in launches)
        # Nobody listens there any more, which ends the waiting.
        answers = [launch.result() for launch in launches]
        assert {answer.status_code for answer in answers} == {502}
        assert "does not answer" in answers[0].text
        assert client.post("/lti/launch", data=forms[0]).status_code == 502
