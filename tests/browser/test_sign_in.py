"""The pages of signing in, in a real browser: readable by all, and by the keyboard alone."""

import re

import pyotp
import pytest
from playwright.sync_api import expect

from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import PASSWORD, Clock, make_user


@pytest.fixture
def user(database: Database) -> User:
    with database.write() as session:
        return make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_a_second_factor_is_set_up_and_asked_for(
    open_page: OpenPage,
    user: User,
    clock: Clock,
    expected_errors: list[str],
    width: int,
    theme: str,
) -> None:
    expected_errors.append("422")
    page = open_page("/sessions", user, width, theme)
    assert_accessible(page)
    page.get_by_role("link", name="Second factor…").click()
    page.get_by_role("button", name="Set up a second factor").click()
    expect(page.get_by_role("img", name=re.compile("QR code"))).to_be_visible()
    # All of it is in its box: a part alone can't be scanned.
    drawn = page.locator(".qr svg").evaluate(
        "svg => { const box = svg.getBBox(), view = svg.viewBox.baseVal;"
        " return box.width > 0 && box.x >= 0 && box.y >= 0"
        " && box.x + box.width <= view.width && box.y + box.height <= view.height }"
    )
    assert drawn
    assert_accessible(page)
    key = page.locator("code.break").inner_text().replace(" ", "")
    app = pyotp.TOTP(key)
    page.get_by_label("The six digits").fill("12")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Wrong code.")
    expect(page.get_by_label("The six digits")).to_be_focused()
    page.keyboard.type(app.at(clock()))
    page.keyboard.press("Enter")
    expect(page.locator(".recovery-codes code")).to_have_count(10)
    assert_accessible(page)
    code = page.locator(".recovery-codes code").first.inner_text()
    page.goto("/second-factor")
    assert_accessible(page)
    page = open_page("/sign-in", width=width, theme=theme)
    page.keyboard.type(user.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    field = page.get_by_label("Code from your authenticator app")
    expect(field).to_be_focused()
    assert_accessible(page)
    page.keyboard.type(code)
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name=user.name)).to_be_visible()
