"""A page that waits for its verdict: one request, answered when there is something to see."""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from time import sleep

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.jobs.verdict_news import Verdicts
from server.jobs.worker import Worker
from server.store.attempts import Submission
from server.store.database import Database
from server.web.submissions import waiting as held_requests
from server.web.submissions.waiting import MOST_HELD, Held
from tests.factories import Clock, make_submission, mark_what_waits
from tests.web.lab import Lab

PROGRAM = {"version": 1, "name": "wash_sump"}


@pytest.fixture
def waiting(lab: Lab, database: Database) -> Submission:
    with database.write() as session:
        return make_submission(session, lab.assignment, lab.student, program=PROGRAM)


@pytest.fixture
def browser() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor() as threads:
        yield threads


class Page:
    """Windows of one person that wait for a verdict, each in a thread of its own."""

    def __init__(self, app: FastAPI, client: TestClient, threads: ThreadPoolExecutor) -> None:
        self.app, self.client, self.threads = app, client, threads

    def ask(self, submission: Submission) -> Response:
        return self.client.get(f"/submissions/{submission.id}/progress")

    def wait(self, submission: Submission, windows: int = 1) -> list[Future[Response]]:
        asked = [self.threads.submit(self.ask, submission) for _ in range(windows)]
        verdicts: Verdicts = self.app.state.worker.verdicts
        while len(verdicts._waiting.get(submission.id, ())) < windows:
            sleep(0.01)
        return asked


@pytest.fixture
def page(app: FastAPI, lab: Lab, browser: ThreadPoolExecutor) -> Iterator[Page]:
    yield Page(app, lab.client_for(lab.student), browser)
    app.state.worker.verdicts.close()


@pytest.fixture(autouse=True)
def no_time_is_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held_requests, "HOLD_SECONDS", 600)


def test_it_is_told_when_its_submission_is_marked(
    page: Page, app: FastAPI, waiting: Submission
) -> None:
    asked = page.wait(waiting, windows=2)
    app.state.worker.begin(waiting.id)
    for each in asked:
        answer = each.result()
        assert (answer.status_code, answer.headers["HX-Refresh"]) == (204, "true")
    assert page.ask(waiting).headers["HX-Refresh"] == "true"


def test_it_is_told_when_its_submission_cannot_be_marked(
    page: Page, app: FastAPI, lab: Lab, database: Database
) -> None:
    with database.write() as session:
        broken = make_submission(session, lab.assignment, lab.student, program={"version": 99})
    (asked,) = page.wait(broken)
    app.state.worker.begin(broken.id)
    assert "Accepted, but not marked yet." in asked.result().text
    assert 'role="status"' in asked.result().text


def test_one_person_has_a_few_windows_held_and_the_others_answered_at_once(
    page: Page, app: FastAPI, waiting: Submission
) -> None:
    asked = page.wait(waiting, windows=MOST_HELD)
    one_more = page.ask(waiting)
    assert (one_more.status_code, one_more.content) == (204, b"")
    assert "HX-Refresh" not in one_more.headers
    assert not any(each.done() for each in asked)


def test_a_held_request_ends_by_itself_and_says_nothing_new(
    page: Page, waiting: Submission, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(held_requests, "HOLD_SECONDS", 0.01)
    for _ in range(MOST_HELD + 1):
        answer = page.ask(waiting)
        assert (answer.status_code, answer.content) == (204, b"")
    # Nothing is left behind by those that gave up.
    assert page.app.state.worker.verdicts._waiting == {}


def test_a_server_that_is_to_stop_answers_those_who_wait(
    page: Page, app: FastAPI, waiting: Submission
) -> None:
    (asked,) = page.wait(waiting)
    app.state.worker.verdicts.close()
    assert asked.result().status_code == 204
    assert page.ask(waiting).status_code == 204


def test_no_more_than_so_many_are_held() -> None:
    held = Held()
    with held.one_more(1) as first, held.one_more(1), held.one_more(1):
        assert first
        with held.one_more(1) as fourth, held.one_more(2) as other:
            assert not fourth
            assert other
    with held.one_more(1) as again:
        assert again


def test_a_marking_that_nobody_waits_for(
    database: Database, app: FastAPI, clock: Clock, waiting: Submission
) -> None:
    worker = Worker(database, app.state.catalogue, clock)
    mark_what_waits(worker, database)
    with worker.verdicts.awaited(waiting.id) as told:
        assert not told.done()
