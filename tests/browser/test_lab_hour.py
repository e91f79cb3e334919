"""A student's hour on one sheet: read, draw, run, change the program while it runs, ask why."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import OpenPage, assert_accessible
from tests.browser.test_trial import Bench, bench, button, compiled, value
from tests.factories import make_submission
from tests.web.lab import OVERFILLS, RIGHT

__all__ = ["bench", "compiled"]

FILLS = RIGHT[0]
LAMP_ONLY = (RIGHT[1],)
"""No rung fills the sump."""

IN_VIEW = """() => {
  const sticky = document.querySelector("#requirement-line").getBoundingClientRect().bottom;
  const foot = document.querySelector("#lab-foot").getBoundingClientRect().top;
  const shown = (part, top) => {
    const { left, right, top: above, bottom } = part.getBoundingClientRect();
    return above >= top && bottom <= foot && left >= 0 && right <= innerWidth;
  };
  const all = (selector, top = 0) =>
    [...document.querySelectorAll(selector)].every((part) => shown(part, top));
  return {
    requirements: all("#requirement-line [data-requirement]"),
    rung: all(".rung-row:has(.selected) svg.rung", sticky),
    plant: all(".plant-frame svg"),
    run: all("#go, #clock"),
  };
}"""


def everything_in_view(page: Page) -> None:
    """Requirement numbers, the rung in work, the plant and the run's bar are seen at once."""
    for _ in range(600):  # the sheet may still be moving
        shown = page.evaluate(IN_VIEW)
        if all(shown.values()):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"not in view: {shown}")


def seconds(page: Page) -> float:
    return float(page.locator("#clock").inner_text().removesuffix(" s"))


def mark(page: Page, requirement: str) -> Locator:
    return page.locator(f'#requirement-line [data-requirement="{requirement}"] .word')


def by_pointer(locator: Locator) -> None:
    locator.click()


def by_keyboard(locator: Locator) -> None:
    expect(locator).to_be_enabled()  # as a click waits for it
    locator.focus()
    locator.press("Enter")


def type_over(field: Locator, text: str) -> None:
    """Type in place of what a field has; Firefox's driver fills a number field beside it."""
    field.select_text()
    field.press_sequentially(text)


def write_rung(page: Page, text: str) -> None:
    """Write the selected rung as text; the rungs have the focus."""
    page.keyboard.press("t")
    page.get_by_role("textbox", name="AND is series").fill(text)
    page.keyboard.press("Control+Enter")
    expect(page.get_by_role("dialog")).to_have_count(0)


@pytest.mark.parametrize("press", [by_pointer, by_keyboard])
def test_the_hour(open_page: OpenPage, bench: Bench, press: Callable[[Locator], None]) -> None:
    bench.program(LAMP_ONLY)
    page = open_page(bench.sheet, bench.student)
    page.set_viewport_size({"width": 1280, "height": 800})
    press(page.locator("#rung-0 [data-output]"))
    page.locator("#rung-0 [data-output]").focus()
    everything_in_view(page)
    press(button(page, "R3 not tried yet"))
    expect(page.locator("#requirement-sentence")).to_contain_text("R3")
    press(button(page, "R3 not tried yet"))

    # The lamp is programmed, filling is not: the level is set by hand. The run begins with it.
    type_over(page.get_by_label("Level of the wash sump"), "1100")
    press(button(page, "Set level"))
    press(button(page, "One scan"))
    expect(value(page, "lamp")).to_have_text("ON")
    expect(mark(page, "R3")).to_have_text("held so far")
    expect(page.locator("#rung-0 .output.closed")).to_have_count(1)
    expect(page.get_by_role("log")).to_contain_text("sump_high ON, lamp ON")
    expect(page.locator('.plant [data-kind="level"] .liquid')).not_to_have_attribute("height", "0")
    type_over(page.get_by_label("Level of the wash sump"), "0")
    press(button(page, "Set level"))

    # Now the pump, while the plant runs: the change goes into the run, which goes on.
    press(button(page, "Run"))
    expect(page.locator("#standing")).to_have_text("running")
    page.locator("#rung-0 .rung-head").focus()
    page.keyboard.press("Shift+l")
    expect(page.locator(".rung-row")).to_have_count(2)
    write_rung(page, FILLS)
    expect(page.locator('#rung-0.in-run [data-path="0.1.0"]')).to_be_visible()
    expect(page.locator("#standing")).to_have_text("running")
    press(button(page, "Hold"))
    expect(page.locator("#standing")).to_have_text("held")
    # However slow the run is, it has the pump's rung before the button comes.
    press(button(page, "One scan"))
    press(page.locator("button[data-control='panel.start_pb']"))
    press(button(page, "One scan"))
    press(page.locator("button[data-control='panel.start_pb']"))
    press(button(page, "One scan"))
    expect(value(page, "fill_pump")).to_have_text("ON")
    expect(page.locator('#rung-0 .closed[data-path="0.1.0"]')).to_have_count(1)
    expect(page.locator('#rung-0 .closed[data-path="0.0.0"]')).to_have_count(0)
    page.get_by_text("Timing chart", exact=True).click()
    expect(page.locator(".timing-chart .takeover path")).not_to_have_count(0)
    page.get_by_text("Timing chart", exact=True).click()

    # A rung with an error stands still, and the plant keeps what it has; Undo brings both back.
    page.locator("#rung-1 .rung-head").focus()
    write_rung(page, "nowhere := sump_high;")
    expect(page.locator("#behind")).to_contain_text("The plant keeps the last program that can run")
    expect(page.locator(".rung-row.in-run")).to_have_count(1)
    page.keyboard.press("Control+z")
    expect(page.locator(".rung-row.in-run")).to_have_count(2)
    expect(page.locator("#behind")).to_be_hidden()

    # A second is gone back; why is the pump on?
    press(page.get_by_role("switch", name="Use"))
    begun = seconds(page)
    press(button(page, "Run"))
    while seconds(page) < begun + 1.2:
        page.wait_for_timeout(50)
    press(button(page, "Hold"))
    expect(page.locator("#standing")).to_have_text("held")
    now = seconds(page)
    press(button(page, "Back 1 s"))
    expect(page.locator("#standing")).to_contain_text("past moment")
    assert seconds(page) == pytest.approx(now - 1, abs=0.011)
    press(button(page, "Back to now"))
    expect(page.locator("#clock")).to_have_text(f"{now:.2f} s")
    page.locator("#rung-0 [data-output]").focus()
    page.keyboard.press("w")
    reasons = page.locator("#why li")
    expect(reasons.first).to_contain_text("rung 1 conducted when start_pb came ON")
    expect(reasons.last).to_contain_text("push-button HS-201.")
    everything_in_view(page)
    press(reasons.first.get_by_role("button", name="Rung 1"))
    expect(page.locator('#rung-0 .selected[data-path="0.0.0"]')).to_be_focused()
    press(reasons.first.get_by_role("button", name=re.compile("Look at")))
    expect(page.locator("#standing")).to_contain_text("past moment")
    expect(value(page, "start_pb")).to_have_text("ON")
    press(button(page, "Back to now"))

    # The stop wire breaks: the pump stops.
    press(page.get_by_text("Supply and faults"))
    press(page.get_by_role("switch", name="stop_pb: broken wire"))
    press(button(page, "One scan"))
    expect(value(page, "fill_pump")).to_have_text("OFF")

    # Saved, and repeated on a version that forgets to stop.
    press(page.locator("#records > summary"))
    page.get_by_label("Name of the run").fill("broken wire")
    press(button(page, "Save the run"))
    expect(page.locator("#saved-runs")).to_contain_text("broken wire")
    page.locator("#rung-0 .rung-head").focus()
    write_rung(page, "fill_pump := start_pb OR fill_pump;")
    expect(page.locator("#rung-0 [data-path]")).to_have_count(2)
    press(button(page, "Repeat on the present program: broken wire"))
    expect(page.locator("#standing")).to_have_text("held")
    expect(page.locator(".rung-row.in-run")).to_have_count(2)
    expect(value(page, "fill_pump")).to_have_text("ON")
    assert seconds(page) == pytest.approx(now + 0.01, abs=0.011)


def test_the_leaves_of_a_narrow_sheet(open_page: OpenPage, bench: Bench) -> None:
    """By touch: the old address of the trial run opens the plant, and the leaves lead on."""
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student, width=400, touch=True)
    leaves = page.get_by_role("navigation", name="Leaves of the sheet")
    plant, rungs = page.get_by_role("region", name="Drawing of the plant"), page.locator("#rung-0")
    expect(leaves.get_by_role("link", name="Plant")).to_have_attribute("aria-current", "true")
    expect(plant).to_be_in_viewport()
    button(page, "One scan").tap()
    expect(page.locator("#clock")).to_have_text("0.01 s")
    leaves.get_by_role("link", name="Rungs").tap()
    assert_accessible(page)
    expect(rungs).to_be_in_viewport()
    expect(rungs).to_have_class(re.compile("in-run"))
    expect(plant).to_be_hidden()
    leaves.get_by_role("link", name="Chart").tap()
    expect(page.get_by_role("region", name="Timing chart")).to_be_in_viewport()
    leaves.get_by_role("link", name="Sheet").tap()
    expect(page.get_by_role("heading", name="Requirements")).to_be_in_viewport()
    expect(rungs).to_be_hidden()


def test_a_verdict_leads_to_the_plant(open_page: OpenPage, bench: Bench) -> None:
    """See it happen: the run of the attempt stands shortly before, and goes on into the failure."""
    bench.program(OVERFILLS)
    with bench.database.write() as session:
        attempt = make_submission(
            session, bench.assignment, bench.student, program=bench.document(OVERFILLS), attempt=2
        )
    page = open_page(f"{bench.sheet}?see={attempt.id}&requirement=R2b#plant", bench.student)
    expect(page.locator("#why h2")).to_have_text(re.compile(r"^R2b is violated at \d+\.\d\d s$"))
    expect(page.locator("#why li").first).to_contain_text("start_pb on")
    expect(page.locator("#standing")).to_have_text("held")
    expect(mark(page, "R2b")).not_to_have_text("violated")
    expect(page.locator("#why strong")).to_contain_text("The causes end at rung 1, ")
    expect(page.locator("#rungs .faulty")).to_have_count(1)
    expect(page.locator(".rung-row.in-run")).to_have_count(2)
    page.get_by_label("Speed").select_option(label="5 times")
    button(page, "Run").click()
    expect(mark(page, "R2b")).to_have_text("violated")
    assert page.url.endswith(f"{bench.sheet}#plant"), "a reload does not begin it again"
