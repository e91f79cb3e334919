"""Help in place, by key and by pointer: what is selected, where it is used, and the way there."""

import pytest
from playwright.sync_api import Page, expect

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_program
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.programs import save_program
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import NOON, make_assignment, make_section, make_user

PROGRAM = """
PROGRAM sump
VAR
    start_pb AT %IX0.0 : BOOL; stop_pb AT %IX0.1 : BOOL; sump_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL; lamp AT %QX0.1 : BOOL; delay : TON;
END_VAR
// [R1] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb;
// [R3] The lamp shows the pump.
lamp := fill_pump AND delay(PT := T#2s);
END_PROGRAM
"""


@pytest.fixture
def work(database: Database) -> tuple[User, Assignment]:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        document = to_json(parse_program(PROGRAM))
        save_program(session, assignment, student.id, document, revision=0, start={}, now=NOON)
        return student, assignment


def about(page: Page, heading: str) -> None:
    """Wait for the dialog to tell of this."""
    dialog = page.get_by_role("dialog", name="About what is selected")
    expect(dialog.get_by_role("heading", name=heading)).to_be_visible()


def test_an_element_is_told_and_a_link_leads_to_where_its_symbol_is_used(
    open_page: OpenPage, work: tuple[User, Assignment]
) -> None:
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}", student)
    expect(page.locator("html.editing")).to_be_attached()
    block = page.locator("#rung-1 [data-text^='delay']")
    block.focus()
    page.keyboard.press("h")
    about(page, "TON, on-delay timer")
    expect(page.locator("#about .timing-chart")).to_be_visible()
    page.keyboard.press("Escape")
    expect(block).to_be_focused()

    page.locator("#rung-0 [data-path='0.1.0']").click()
    page.locator(".bench").get_by_role("button", name="about").click()
    about(page, "Normally open contact")
    page.locator("#about").get_by_role("button", name="rung 2").click()
    expect(page.locator("#rung-1 [data-path='0']")).to_be_focused()

    page.get_by_role("button", name="Uses of start_pb").click()
    about(page, "start_pb")
    page.locator("#about").get_by_role("button", name="rung 1").click()
    expect(page.locator("#rung-0 [data-path='0.0.0']")).to_be_focused()


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_help_is_accessible(
    open_page: OpenPage, work: tuple[User, Assignment], width: int, theme: str
) -> None:
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}#program", student, width, theme)
    expect(page.locator("html.editing")).to_be_attached()
    page.locator("#rung-1 [data-text^='delay']").click()
    page.keyboard.press("F1")
    about(page, "TON, on-delay timer")
    assert_accessible(page)
    page.goto("/elements")
    assert_accessible(page)
