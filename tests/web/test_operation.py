"""What whoever runs the server looks at, and what the log does not say."""

import io
import json
import logging
import re
from collections.abc import Iterator
from dataclasses import replace
from math import inf

import pytest
from fastapi import FastAPI
from prometheus_client import CollectorRegistry
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from server.logs import JsonLines
from server.scan.engine_version import ENGINE_VERSION
from server.store.database import Database
from server.store.people import Role
from server.web.request_figures import RequestFigures
from tests.factories import Clock, make_submission, make_user
from tests.web.lab import ClientFor, Lab


@pytest.fixture
def written() -> Iterator[io.StringIO]:
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    # The client that asks has a log of its own.
    handler.addFilter(lambda record: not record.name.startswith("httpx"))
    root = logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel("INFO")
    yield stream
    root.removeHandler(handler)
    root.setLevel(before)


def from_here(app: FastAPI, **headers: str) -> TestClient:
    return TestClient(app, client=("127.0.0.1", 5000), headers=headers)


def test_health_asks_nothing_of_the_database(client_for: ClientFor, app: FastAPI) -> None:
    class Away:
        def read(self) -> None:
            raise OperationalError("", {}, Exception("away"))

    client = client_for(None)
    assert client.get("/ready").status_code == 200
    app.state.database = Away()
    assert client.get("/health").text == "ok\n"
    assert client.get("/ready").status_code == 503


def test_the_queue_is_told_in_figures(
    lab: Lab, app: FastAPI, database: Database, clock: Clock
) -> None:
    with database.write() as session:
        waiting = make_submission(session, lab.assignment, lab.student)
    clock.now = waiting.submitted_at.replace(minute=1)
    text = from_here(app).get("/metrics").text
    assert "rungmark_queued 1.0" in text
    assert "rungmark_queue_age_seconds 60.0" in text
    assert "rungmark_live_runs 0.0" in text
    assert "rungmark_workers 0.0" in text
    assert f'engine="{ENGINE_VERSION}"' in text


def test_requests_are_counted_by_route_and_answer(app: FastAPI, client_for: ClientFor) -> None:
    client = client_for(None)
    client.get("/sign-in")
    client.get("/help/gardening")
    client.get("/help")
    text = from_here(app).get("/metrics").text
    assert 'rungmark_requests_total{answer="ok",route="sign_in_page"} 1.0' in text
    assert 'rungmark_requests_total{answer="refused",route="guide"} 1.0' in text
    assert 'rungmark_request_seconds_bucket{le="+Inf",route="guides"} 1.0' in text


def test_the_time_of_95_in_100_requests_is_a_bound_of_the_histogram() -> None:
    figures = RequestFigures(CollectorRegistry())
    for seconds in [0.02] * 94 + [0.2] * 2 + [30.0] * 4:
        figures.note("home", 200, seconds)
    figures.note("home", 500, 0.02)
    figures.note("undo", 404, 30.0)
    home, undo = figures.by_route()
    # 95 of 101 took 20 ms; 95 in 100 of them are 96, with one that took 200 ms.
    assert (home.route, home.count, home.refused, home.errors, home.within) == (
        "home",
        101,
        0,
        1,
        0.3,
    )
    assert (undo.refused, undo.within) == (1, inf)


def test_the_administrator_sees_how_the_server_is(
    lab: Lab, app: FastAPI, database: Database
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        make_submission(session, lab.assignment, lab.student)
    client = lab.client_for(administrator)
    client.get("/")
    text = client.get("/server").text
    assert "no worker is alive" in text
    assert re.search(r"Submissions that wait</th><td class=\"number\">1<", text)
    assert re.search(r"<th scope=\"row\">home</th><td class=\"number\">1<", text)
    assert ENGINE_VERSION in text


def test_what_asks_by_itself_does_not_fill_the_log(
    client_for: ClientFor, written: io.StringIO
) -> None:
    client = client_for(None)
    for path in ("/health", "/ready", "/sign-in"):
        client.get(path)
    routes = [json.loads(line).get("route") for line in written.getvalue().splitlines()]
    assert routes == ["/sign-in"]


def test_metrics_are_for_this_machine_or_the_token(app: FastAPI, client_for: ClientFor) -> None:
    assert from_here(app).get("/metrics").status_code == 200
    assert client_for(None).get("/metrics").status_code == 404
    # A proxy on this machine passes it on for somebody else.
    passed_on = {"X-Forwarded-For": "203.0.113.7"}
    assert from_here(app).get("/metrics", headers=passed_on).status_code == 404
    app.state.settings = replace(app.state.settings, metrics_token="kept-secret")
    assert from_here(app).get("/metrics").status_code == 404
    given = {"Authorization": "Bearer kept-secret"}
    assert client_for(None).get("/metrics", headers=given).status_code == 200


def test_a_request_leaves_a_line_without_anything_personal(
    lab: Lab, client_for: ClientFor, written: io.StringIO
) -> None:
    client = client_for(None)
    form = {"email": lab.student.email, "password": "wrong-password-9"}
    answer = client.post("/sign-in?next=/secret-address", data=form)
    lab.client_for(lab.student).get(f"/assignments/{lab.assignment.id}")
    text = written.getvalue()
    lines = [json.loads(line) for line in text.splitlines()]
    first = next(line for line in lines if line.get("route") == "/sign-in")
    assert first["request"] == answer.headers["X-Request-ID"]
    assert (first["method"], first["status"]) == ("POST", 422)
    assert any(line.get("route") == "/assignments/{assignment_id}" for line in lines)
    for personal in (lab.student.email, lab.student.name, "wrong-password-9", "secret-address"):
        assert personal not in text


def test_an_exception_is_written_down_without_its_text(written: io.StringIO) -> None:
    try:
        raise RuntimeError("Key (email)=(someone@larkmoor.example) already exists")
    except RuntimeError:
        logging.getLogger("rungmark").exception("a mistake")
    line = json.loads(written.getvalue())
    assert line["exception"] == "RuntimeError"
    assert any("test_operation.py" in place for place in line["places"])
    assert "someone" not in written.getvalue()
