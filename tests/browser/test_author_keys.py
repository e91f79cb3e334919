"""An author who has no pointer: every part of an exercise is written by keys alone."""

import pytest
from playwright.sync_api import Locator, Page, expect

from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import OpenPage
from tests.factories import make_section, make_user

MOST_TABS = 250
FOCUSED = "to => document.activeElement === to"


@pytest.fixture
def author(database: Database) -> User:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        make_section(session, (teacher, SectionRole.INSTRUCTOR))
        return teacher


def go(page: Page, to: Locator, key: str = "Tab") -> None:
    """Press Tab, or Shift+Tab, until something has the focus."""
    expect(to).to_have_count(1)
    for _ in range(MOST_TABS):
        if to.evaluate(FOCUSED):
            return
        page.keyboard.press(key)
    raise AssertionError(f"{to} is not reached by {key}")


def press(page: Page, name: str, *, link: bool = False) -> None:
    role = page.get_by_role("link" if link else "button", name=name, exact=True)
    go(page, role)
    page.keyboard.press("Enter")


def kept(page: Page, before: str) -> None:
    expect(page.locator("#authoring")).not_to_have_attribute("data-revision", before)


def revision(page: Page) -> str:
    return page.locator("#authoring").get_attribute("data-revision") or ""


def act(page: Page, name: str) -> None:
    before = revision(page)
    press(page, name)
    kept(page, before)


def write(page: Page, path: str, text: str) -> None:
    """Go to a field, type into it, and leave it."""
    before = revision(page)
    go(page, page.locator(f"[data-path='{path}']"))
    page.keyboard.press("Control+a")
    page.keyboard.type(text)
    page.keyboard.press("Tab")
    kept(page, before)


def choose(page: Page, control: Locator, words: str) -> None:
    """By its first letters, as a list of choices is used without a pointer."""
    go(page, control)
    page.keyboard.type(words)
    assert words in str(control.evaluate("c => c.selectedOptions[0].textContent"))


def test_an_exercise_is_written_by_keys_alone(open_page: OpenPage, author: User) -> None:
    page = open_page("/authoring", author)
    go(page, page.get_by_label("Title"))
    page.keyboard.type("Pear wash sump")
    press(page, "Begin")
    expect(page.locator("html.authoring-ready")).to_be_attached()

    # The sheet's list of sections is a short way to each.
    page.keyboard.press("Tab")
    go(page, page.locator("nav.contents a", has_text="The job"))
    page.keyboard.press("Enter")
    write(page, '["summary"]', "A pump that seals itself in.")
    write(page, '["statement"]', "HS-201 starts P-205, HS-202 stops it; LSH-203, HS-210 (R1).")

    # A plant with its points, and a point more: the focus stands in what was added.
    act(page, "Use this plant")
    go(page, page.get_by_role("button", name="Add a point", exact=True), "Shift+Tab")
    page.keyboard.press("Shift+Tab")
    choose(page, page.locator("#new-point"), "selector")
    act(page, "Add a point")
    added = page.locator('[data-path=\'["points", 4, "symbol"]\']')
    expect(added).to_be_focused()
    write(page, '["points", 4, "symbol"]', "auto_sel")
    write(page, '["points", 4, "device"]', "HS-210")
    # What is moved keeps the focus; so does the place of what is removed.
    go(page, page.get_by_role("button", name="Move up point 5"))
    before = revision(page)
    page.keyboard.press("Enter")
    kept(page, before)
    expect(page.get_by_role("button", name="Move up point 4")).to_be_focused()

    go(page, page.get_by_label("New requirement"))
    page.keyboard.type("Start starts the pump.")
    act(page, "Add the requirement")
    expect(page.locator('[data-path=\'["requirements", 0, "id"]\']')).to_be_focused()
    choose(page, page.locator("#new-check-1"), "never")
    act(page, "Add a check to R1")
    expect(
        page.locator('[data-path=\'["requirements", 0, "checks", 0, "never"]\']')
    ).to_be_focused()
    write(page, '["requirements", 0, "checks", 0, "never"]', "fill_pump AND NOT stop_pb")
    write(page, '["requirements", 0, "checks", 0, "given"]', "fill_pump")

    act(page, "Add a scenario")
    expect(page.locator('[data-path=\'["scenarios", 0, "name"]\']')).to_be_focused()
    steps = page.locator("#scenario-1 summary").filter(has_text="More: when")
    go(page, steps)
    page.keyboard.press("Enter")
    write(page, '["scenarios", 0, "steps", 0, "tap"]', "start_pb")
    act(page, "Add a step")
    act(page, "Remove step 2")
    expect(page.get_by_role("button", name="Remove step 1", exact=True)).to_be_focused()
    expect(page.locator(".standing")).to_contain_text("No faults")

    # Published in spite of what is open, with a reason.
    expect(page.get_by_text("caught by the suite")).to_be_visible(timeout=120_000)
    go(page, page.get_by_label("findings are open"))
    page.keyboard.type("The programs follow next week.")
    press(page, "Publish version 1")
    expect(page.get_by_role("rowheader", name="1", exact=True)).to_be_visible()
