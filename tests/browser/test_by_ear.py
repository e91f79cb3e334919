"""A student's hour by ear: keys alone, and nothing is known of the page but what is read aloud.

That is the name of what gets the focus, and what a live region shows anew.
"""

import re

from playwright.sync_api import Page, expect
from playwright.sync_api import TimeoutError as PlaywrightTimeoutError

from server.store.people import User
from tests.browser.conftest import OpenPage
from tests.browser.test_trial import Bench, bench, compiled
from tests.factories import PASSWORD

__all__ = ["bench", "compiled"]

LISTEN = """
window.heard = [];
const LIVE = "[aria-live=polite], [aria-live=assertive], [role=status], [role=alert], [role=log]";
const say = (words) => {
  const said = words.replace(/\\s+/g, " ").trim();
  if (said && said !== window.heard.at(-1)) window.heard.push(said);
};
document.addEventListener("focusin", ({ target }) => {
  const label = target.labels?.[0]?.textContent ?? "";
  say("> " + (target.getAttribute("aria-label") || label || target.textContent));
});
new MutationObserver((changes) => {
  const shown = new Set();
  for (const { target, addedNodes } of changes) {
    const part = target.nodeType === 1 ? target : target.parentElement;
    const region = part?.closest(LIVE);
    if (!region || region.closest("[hidden]")) continue;
    if (region.matches("[role=log]")) for (const each of addedNodes) say(each.textContent);
    else shown.add(region);
  }
  for (const region of shown) say(region.textContent);
}).observe(document, {
  subtree: true, childList: true, characterData: true, attributeFilter: ["hidden"],
});
"""

HEARD = """(pattern) => {
  const at = window.heard.findIndex((each) => new RegExp(pattern).test(each));
  if (at < 0) return false;
  window.heard.splice(0, at + 1);
  return true;
}"""


class Ears:
    """What was said since the last question."""

    def __init__(self, page: Page) -> None:
        self.page = page
        page.add_init_script(LISTEN)

    def hear(self, words: str) -> None:
        """Wait until these words, a pattern, were said; forget what was said up to them."""
        try:
            self.page.wait_for_function(HEARD, arg=words, timeout=30_000)
        except PlaywrightTimeoutError:
            said = self.page.evaluate("window.heard")
            raise AssertionError(f"{words!r} was not said, but {said}") from None

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def reach(self, words: str) -> None:
        """Go on by Tab until what has the focus is called so."""
        for _ in range(120):
            self.press("Tab")
            said = self.page.evaluate("window.heard.filter((each) => each.startsWith('> ')).at(-1)")
            if said and re.search(words, said):
                return
        raise AssertionError(f"{words} is not reached by Tab")


def signed_in(open_page: OpenPage, student: User) -> Ears:
    page = open_page("/sign-in")
    ears = Ears(page)
    page.reload()
    ears.reach("Email")
    page.keyboard.type(student.email)
    ears.press("Tab")
    ears.hear("> Password")
    page.keyboard.type(PASSWORD)
    ears.press("Enter")
    expect(page).to_have_title(re.compile("Course home"))
    return ears


def test_an_hour_by_ear(open_page: OpenPage, bench: Bench) -> None:
    ears = signed_in(open_page, bench.student)
    page = ears.page
    ears.reach("Apple wash sump")
    ears.press("Enter")
    expect(page.locator("html.editing")).to_be_attached()

    # Each edit is told by what it did; what the checks object to follows it.
    ears.reach("Add a rung")
    ears.press("Enter")
    ears.hear(r"^Added rung 1\.")
    ears.press("n")
    ears.hear("> Normally open contact, after what is selected")
    page.keyboard.type("start_pb")
    ears.press("Enter")
    ears.hear(r"^Added normally open contact start_pb at %IX0\.0 in rung 1\.")
    ears.hear("> normally open contact start_pb at %IX0.0")
    ears.press("q")
    page.keyboard.type("nowhere")
    ears.press("Enter")
    ears.hear(r"^Added coil nowhere in rung 1\. Error: nowhere is not declared\.")
    ears.press("Control+z")
    ears.hear(r"^Undone: rung 1 changed\.")
    ears.press("q")
    page.keyboard.type("fill_pump")
    ears.press("Enter")
    ears.hear(r"^Added coil fill_pump at %QX0\.0 in rung 1\.")
    ears.press("c")
    ears.hear("> Comment")
    page.keyboard.type("Fills.")
    ears.press("Control+Enter")
    ears.hear(r"^Changed the comment of rung 1\.")

    # The run tells what comes on; a push-button is pressed by its name.
    ears.reach("> Run$")
    ears.press("Enter")
    expect(page.locator("#standing")).to_have_text("running")
    ears.reach("Start HS")
    ears.press("Space")
    ears.hear(r"start_pb ON.*fill_pump ON")
    page.locator("#rung-0 [data-output]").focus()
    ears.press("w")
    ears.hear("rung 1 opened when start_pb went OFF")

    # Handing in says what goes on; the verdict's title says what came of it.
    ears.reach("Submit the program")
    ears.press("Enter")
    ears.hear("Storing and marking…")
    expect(page).to_have_title(re.compile("^1 of 6 points in attempt 1: "))
    expect(page.get_by_role("heading", level=1)).to_be_visible()
