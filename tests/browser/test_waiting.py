"""The page of a submission that is being marked shows its verdict by itself."""

import pytest
from fastapi import FastAPI
from playwright.sync_api import Page, expect

from server.jobs.worker import mark
from server.store.attempts import Submission
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import User
from tests.browser.conftest import OpenPage, assert_accessible
from tests.factories import Clock, make_assignment, make_section, make_submission, make_user


@pytest.fixture
def waiting(database: Database, app: FastAPI, site: str) -> tuple[User, Submission]:
    """A submission that the running server does not know of yet."""
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        program = {"version": 1, "name": "wash_sump"}
        return student, make_submission(session, assignment, student, program=program)


def asked(page: Page) -> list[str]:
    found: list[str] = []
    page.on("request", lambda request: found.append(request.url))
    return found


def test_one_request_waits_for_the_verdict(
    open_page: OpenPage, app: FastAPI, waiting: tuple[User, Submission]
) -> None:
    student, submission = waiting
    page = open_page("/", student)
    page.clock.install()
    requests = asked(page)
    with page.expect_request("**/progress"):
        page.goto(f"/submissions/{submission.id}")
    expect(page.get_by_text("is being marked", exact=False).first).to_be_visible()
    assert_accessible(page)
    # Longer than the page takes to ask again, if its request were lost.
    page.clock.fast_forward(5500)
    app.state.worker.begin(submission.id)
    expect(page.get_by_role("heading", name="Requirements")).to_be_visible()
    assert len([url for url in requests if url.endswith("/progress")]) == 1


def test_a_page_whose_connection_was_lost_asks_again(
    open_page: OpenPage,
    app: FastAPI,
    database: Database,
    clock: Clock,
    waiting: tuple[User, Submission],
    expected_errors: list[str],
) -> None:
    expected_errors += ["ERR_CONNECTION_FAILED", "Failed to fetch"]
    student, submission = waiting
    page = open_page("/", student, width=400)
    page.clock.install()
    page.route("**/progress", lambda route: route.abort("connectionfailed"), times=1)
    with page.expect_event("requestfailed"):
        page.goto(f"/submissions/{submission.id}")
    assert_accessible(page)
    mark(database, app.state.catalogue, submission.id, clock)
    page.clock.fast_forward(5500)
    expect(page.get_by_role("heading", name="Requirements")).to_be_visible()
