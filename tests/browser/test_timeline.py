"""The timeline of a scenario: its steps are moved by hand and by keys, and the file follows."""

import pytest
from playwright.sync_api import Page, expect

from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import OpenPage
from tests.factories import make_user


@pytest.fixture
def author(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")


def after(page: Page, step: int) -> str:
    path = f'["scenarios", 0, "steps", {step}, "after"]'
    return page.locator(f"[data-path='{path}']").input_value()


def moved(page: Page) -> None:
    """Wait until the next change is kept."""
    sheet = page.locator("#authoring")
    before = sheet.get_attribute("data-revision") or ""
    expect(sheet).not_to_have_attribute("data-revision", before)


def test_a_step_is_moved_by_keys_and_by_hand(open_page: OpenPage, author: User) -> None:
    page = open_page("/authoring", author)
    page.get_by_label("Title").fill("My sump")
    page.get_by_label("Begin with").select_option("wash-sump")
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("html.authoring-ready")).to_be_attached()
    page.locator("#scenario-1 summary").first.click()
    first = page.locator("#handle-0-0")
    name = first.get_attribute("aria-label") or ""
    assert name.startswith("Step 1: tap ")
    began = int(first.get_attribute("aria-valuenow") or "")
    assert after(page, 0) == f"{began} ms"

    first.focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "ArrowRight"):
        page.keyboard.press(key)
    expect(first).to_have_attribute("aria-valuetext", f"{(began + 200) / 1000} s")
    moved(page)
    assert after(page, 0) == f"{began + 200} ms"
    expect(first).to_be_focused()
    # It can't come before the start, however often the key is pressed.
    page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Shift+ArrowLeft")
    moved(page)
    assert after(page, 0) == "0 ms"
    expect(first).to_have_attribute("aria-valuenow", "0")

    box = first.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y, steps=3)
    shown = first.get_attribute("aria-valuenow")
    page.mouse.up()
    moved(page)
    assert int(shown or "") > 0
    expect(first).to_have_attribute("aria-valuenow", shown or "")
    milliseconds = int(shown or "")
    whole = milliseconds % 1000 == 0
    assert after(page, 0) == (f"{milliseconds // 1000} s" if whole else f"{milliseconds} ms")
