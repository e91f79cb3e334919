"""Whoever presses a button far down the page sees why nothing happened."""

import pytest
from fastapi import FastAPI
from playwright.sync_api import expect

from server.store.courses import SectionRole
from server.store.database import Database
from server.store.programs import save_program
from tests.browser.conftest import WIDTHS, OpenPage
from tests.factories import NOON, make_assignment, make_section, make_user
from tests.faults.class_at_work import right_program


@pytest.mark.parametrize("width", WIDTHS)
def test_a_database_that_is_away_is_told_in_sight(
    open_page: OpenPage,
    app: FastAPI,
    database: Database,
    expected_errors: list[str],
    width: int,
) -> None:
    expected_errors.append("503")
    program = right_program()
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        save_program(session, assignment, student.id, program, revision=0, start={}, now=NOON)
    page = open_page(f"/assignments/{assignment.id}#program", student, width=width)
    app.state.database = Database("sqlite:////nowhere/rungmark.db")
    page.get_by_role("button", name="Submit the program").click()
    expect(page.get_by_text("The database does not answer, so this")).to_be_in_viewport()
    app.state.database = database
    page.get_by_role("button", name="Submit the program").click()
    expect(page.get_by_role("heading", name="Requirements")).to_be_visible(timeout=60_000)
