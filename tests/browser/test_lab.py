"""A student's way through an exercise in a real browser, and what the instructor sees of it."""

import csv
import io
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import PASSWORD, make_assignment, make_section, make_user


@pytest.fixture
def course(database: Database) -> tuple[User, User, Assignment]:
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        return student, teacher, make_assignment(session, section, exercise="wash-sump")


def saved(page: Page, rung: int, *texts: str) -> None:
    """Wait until the rung shows exactly these elements and outputs, told by their text."""
    stops = page.locator(f"#rung-{rung} :is([data-path], [data-output])")
    expect(stops).to_have_count(len(texts))
    for stop, text in zip(stops.all(), texts, strict=True):
        expect(stop).to_have_attribute("data-text", text)


def first_rung(open_page: OpenPage, course: tuple[User, User, Assignment]) -> Page:
    """The student's editor with a first rung to fill."""
    student, _, assignment = course
    page = open_page(f"/assignments/{assignment.id}", student)
    page.get_by_role("button", name="Add a rung").click()
    expect(page.locator("#rung-0 .rung-head")).to_be_focused()
    return page


def verdict(page: Page, words: str) -> None:
    """Submit, and wait for the verdict; the first one of a process waits for the compiler."""
    page.get_by_role("button", name="Submit the program").click()
    expect(page.get_by_text(words)).to_be_visible(timeout=60_000)


def type_entry(page: Page, key: str, text: str, label: str) -> None:
    """One element by the keyboard alone; wait until it is drawn."""
    page.keyboard.press(key)
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    expect(page.locator(f'.selected[aria-label^="{label}"]')).to_be_visible()


def comment(page: Page, words: str, *requirements: str) -> None:
    page.keyboard.press("c")
    dialog = page.get_by_role("dialog", name="Comment and requirements")
    dialog.get_by_label("Comment", exact=True).fill(words)
    for requirement in requirements:
        dialog.get_by_role("checkbox", name=f"{requirement} ").check()
    page.keyboard.press("Control+Enter")
    expect(dialog).to_be_hidden()


def accessible_everywhere(page: Page) -> None:
    """The state that is shown, wide and narrow, light and dark."""
    for width, theme in (*LOOKS, (800, "light")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
        assert_accessible(page)
    page.set_viewport_size({"width": 1280, "height": 900})


def test_from_signing_in_to_the_gradebook(
    open_page: OpenPage, course: tuple[User, User, Assignment], tmp_path: Path
) -> None:
    student, teacher, _ = course
    page = open_page("/sign-in")
    page.get_by_label("Email").fill(student.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Apple wash sump").click()
    expect(page.locator("html.editing")).to_be_attached()

    # A wrong program by the keyboard: without the level switch.
    page.get_by_role("button", name="Add a rung").press("Enter")
    expect(page.locator("#rung-0 .rung-head")).to_be_focused()
    type_entry(page, "n", "start_pb", "normally open contact start_pb")
    type_entry(page, "Shift+ArrowDown", "fill_pump", "normally open contact fill_pump")
    page.keyboard.press("Home")
    type_entry(page, "n", "stop_pb", "normally open contact stop_pb")
    type_entry(page, "q", "fill_pump", "coil fill_pump")
    comment(page, "The fill pump seals in.", "R1", "R2a")
    page.keyboard.press("l")
    expect(page.locator("#rung-1 .rung-head")).to_be_focused()
    page.keyboard.press("t")
    page.get_by_role("textbox", name="AND is series").fill("// [R3] Full.\nlamp := sump_high;")
    expect(page.locator("#rung-preview svg")).to_be_visible()
    page.keyboard.press("Control+Enter")
    saved(page, 1, "sump_high", "lamp")
    verdict(page, "4 of 5 requirements are met.")
    row = page.locator("#R2b")
    expect(row.get_by_text("not met", exact=True)).to_be_visible()
    expect(row).to_contain_text("the fill pump ran on after the sump was full")

    # Mended with the pointer.
    page.get_by_role("link", name="Continue editing").click()
    expect(page.locator("html.editing")).to_be_attached()
    page.locator('#rung-0 [data-text="stop_pb"]').click()
    page.locator('.bench [data-command="closed"]').click()
    page.keyboard.type("sump")
    page.get_by_role("option", name="sump_high").click()
    page.get_by_role("button", name="Place").click()
    saved(page, 0, "start_pb", "fill_pump", "stop_pb", "NOT sump_high", "fill_pump")
    verdict(page, "Every requirement is met.")
    expect(page.locator(".status.met")).to_have_count(5)

    page = open_page("/", teacher)
    page.get_by_role("link", name="Gradebook", exact=True).click()
    cells = page.get_by_role("row", name="Elif Yıldırım")
    expect(cells).to_contain_text("6 / 6")
    expect(cells).to_contain_text("2 of 2")
    with page.expect_download() as downloading:
        page.get_by_role("link", name="Download CSV").click()
    file = tmp_path / "grades.csv"
    downloading.value.save_as(file)
    (line,) = csv.DictReader(io.StringIO(file.read_text("utf-8-sig")))
    assert line["R2b"] == "met"
    cells.get_by_role("link", name="2 of 2").click()
    page.get_by_role("link", name="Attempt 1", exact=True).click()
    expect(page.locator("#R2b")).to_contain_text("Scenario: fill until full")
    expect(page.locator("#R2b .timing-chart")).to_be_visible()


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_each_state_is_accessible(
    open_page: OpenPage, course: tuple[User, User, Assignment], width: int, theme: str
) -> None:
    student, _, assignment = course
    page = open_page(f"/assignments/{assignment.id}", student, width, theme)
    assert_accessible(page)
    page.goto(f"/assignments/{assignment.id}#program")
    page.get_by_role("button", name="Add a rung").click()
    expect(page.locator("#rung-0 .rung-head")).to_be_focused()
    type_entry(page, "n", "start_pb", "normally open contact start_pb")
    type_entry(page, "b", "", "TON block delay_1")
    type_entry(page, "q", "lamp", "coil lamp")
    type_entry(page, "q", "nowhere", "coil nowhere")
    assert_accessible(page)
    page.keyboard.press("n")
    page.keyboard.type("s")
    assert_accessible(page)
    page.keyboard.press("Escape")
    for key in ("c", "t", "g", "?"):
        page.keyboard.press(key)
        expect(page.locator("dialog[open]")).to_be_visible()
        assert_accessible(page)
        page.keyboard.press("Escape")
        expect(page.locator("dialog[open]")).to_have_count(0)
    page.locator('.selected[data-text="nowhere"]').press("Delete")
    saved(page, 0, "start_pb", "delay_1(PT := T#1s)", "lamp")
    verdict(page, "requirements are met.")
    assert_accessible(page)


def test_undo_goes_on_after_a_reload(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    type_entry(page, "n", "start_pb", "normally open contact start_pb")
    page.keyboard.press("x")
    saved(page, 0, "NOT start_pb")
    page.reload()
    saved(page, 0, "NOT start_pb")
    page.get_by_role("button", name="Undo").click()
    saved(page, 0, "start_pb")
    page.get_by_role("button", name="Redo").click()
    saved(page, 0, "NOT start_pb")
    type_entry(page, "q", "nowhere", "coil nowhere")
    coil = page.locator('#rung-0 [data-output="0"]')
    expect(coil).to_have_attribute("aria-invalid", "true")
    expect(coil).to_have_accessible_description(re.compile("nowhere is not declared"))
    page.get_by_role("button", name="Declare nowhere as BOOL").click()
    expect(coil).not_to_have_attribute("aria-invalid", "true")


def test_two_windows_never_overwrite_each_other(
    open_page: OpenPage, course: tuple[User, User, Assignment], expected_errors: list[str]
) -> None:
    student, _, assignment = course
    first = open_page(f"/assignments/{assignment.id}", student)
    first.get_by_role("button", name="Add a rung").click()
    expect(first.locator("#rung-0")).to_be_visible()
    second = open_page(f"/assignments/{assignment.id}", student)
    type_entry(first, "n", "start_pb", "normally open contact start_pb")

    expected_errors.append("409")
    second.locator("#rung-0 .rung-head").focus()
    second.keyboard.press("q")
    second.keyboard.type("lamp")
    second.keyboard.press("Enter")
    expect(second.get_by_text("Changed in another window.")).to_be_visible()
    expect(second.locator("#rung-0.elsewhere")).to_be_visible()
    saved(second, 0, "start_pb")
    accessible_everywhere(second)
    second.get_by_role("button", name="Repeat my step on this program").click()
    saved(second, 0, "start_pb", "lamp")


def test_what_is_refused_can_be_corrected_where_it_was_typed(
    open_page: OpenPage, course: tuple[User, User, Assignment], expected_errors: list[str]
) -> None:
    page = first_rung(open_page, course)
    expected_errors.append("422")
    page.keyboard.press("n")
    page.keyboard.type("start pb")
    page.keyboard.press("Enter")
    expect(page.locator("#entry .notice")).to_be_visible()
    expect(page.locator("#entry-text")).to_have_value("start pb")
    page.keyboard.type("start_pb")
    page.keyboard.press("Enter")
    saved(page, 0, "start_pb")


def test_keys_typed_fast_are_not_lost(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    for key, text in (("n", "start_pb"), ("Shift+n", "sump_high"), ("e", "stop_pb"), ("q", "lamp")):
        page.keyboard.press(key)
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    saved(page, 0, "start_pb", "NOT sump_high", "RISING(stop_pb)", "lamp")


def test_the_rung_drawn_is_the_last_one_typed(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/preview", hold, times=1)
    page.keyboard.press("t")
    field = page.get_by_role("textbox", name="AND is series")
    with page.expect_request("**/preview"):
        field.fill("lamp := start_pb;")
    for symbol in ("stop_pb", "sump_high"):
        field.fill(f"lamp := {symbol};")
        page.wait_for_timeout(200)
    held[0].continue_()
    expect(page.locator("#rung-preview")).to_contain_text("sump_high")


def test_every_command_is_found_by_its_words(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    page.keyboard.press("?")
    page.keyboard.type("latch")
    commands = page.get_by_role("listbox", name="Commands")
    expect(commands.get_by_role("option")).to_have_count(1)
    page.keyboard.press("Enter")
    page.keyboard.type("lamp")
    page.keyboard.press("Enter")
    saved(page, 0, "lamp := TRUE")


def test_a_while_without_connection_loses_nothing(
    open_page: OpenPage, course: tuple[User, User, Assignment], expected_errors: list[str]
) -> None:
    """Steps before it is tried again, between two tries in vain, and after the last of them."""
    page = first_rung(open_page, course)
    expected_errors += ["ERR_INTERNET_DISCONNECTED", "Failed to fetch"]

    def enter(key: str, text: str) -> None:
        page.keyboard.press(key)
        page.keyboard.type(text)
        page.keyboard.press("Enter")

    page.context.set_offline(True)
    enter("n", "start_pb")
    enter("q", "lamp")
    not_saved = page.get_by_text("Not saved: the server can't be reached. Go on")
    expect(not_saved).to_be_visible()
    expect(page.locator("#rung-0.pending")).to_have_count(1)
    page.wait_for_event("requestfailed")
    expect(page.locator("#editor-status .saved")).to_have_text("Not saved: offline")
    page.wait_for_timeout(400)  # longer than 'Saving…' waits
    expect(page.locator("#editor-status .saved")).to_have_text("Not saved: offline")
    page.keyboard.press("c")
    page.keyboard.type("Written while the line was down.")
    page.keyboard.press("Control+Enter")
    accessible_everywhere(page)
    page.wait_for_event("requestfailed")
    page.keyboard.press("l")
    enter("q", "fill_pump")
    expect(not_saved).to_be_visible()
    page.context.set_offline(False)
    saved(page, 1, "fill_pump")
    saved(page, 0, "start_pb", "lamp")
    expect(not_saved).to_have_count(0)
    expect(page.locator(".pending")).to_have_count(0)
    expect(page.locator("#editor-status .saved")).to_have_text(re.compile("^Saved "))
    page.reload()
    saved(page, 0, "start_pb", "lamp")
    expect(page.get_by_text("Written while the line was down.")).to_be_visible()


def test_a_step_whose_answer_is_lost_is_done_once(
    open_page: OpenPage, course: tuple[User, User, Assignment], expected_errors: list[str]
) -> None:
    page = first_rung(open_page, course)
    expected_errors += ["ERR_FAILED", "Failed to fetch"]

    def cut(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/program", cut, times=1)
    type_entry(page, "n", "start_pb", "normally open contact start_pb")
    saved(page, 0, "start_pb")
    expect(page.get_by_text("Changed in another window")).to_have_count(0)


def test_a_key_is_not_lost_while_a_rung_is_drawn_anew(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    """The rung that is drawn anew takes the focus with it."""
    page = first_rung(open_page, course)
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/program", hold, times=1)
    page.keyboard.press("n")
    page.keyboard.type("start_pb")
    page.keyboard.press("Enter")
    expect(page.locator("#entry")).to_be_hidden()
    page.evaluate("document.activeElement.blur()")
    comment(page, "Typed at once.")
    held[0].continue_()
    saved(page, 0, "start_pb")
    expect(page.locator("#rung-0")).to_have_attribute("data-comment", "Typed at once.")


def test_a_dialog_that_closes_leaves_the_selection_where_it_is(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    """It opens while the new rung is still on its way, so the focus came from the rung above."""
    page = first_rung(open_page, course)
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/program", hold, times=1)
    page.keyboard.press("l")
    page.keyboard.press("c")
    dialog = page.get_by_role("dialog", name="Comment and requirements")
    page.keyboard.type("Of the second rung.")
    held[0].continue_()
    expect(page.locator("#rung-1 .rung-head.selected")).to_be_visible()
    page.keyboard.press("Control+Enter")
    expect(page.locator("#rung-1")).to_have_attribute("data-comment", "Of the second rung.")
    expect(page.locator("#rung-0")).to_have_attribute("data-comment", "")
    expect(page.locator("#rung-1 .rung-head")).to_be_focused()
    page.locator("#rung-0 .rung-head").focus()
    page.keyboard.press("c")
    page.keyboard.press("Escape")
    expect(dialog).to_be_hidden()
    expect(page.locator("#rung-0 .rung-head")).to_be_focused()


def test_elements_and_rungs_are_copied_cut_and_pasted(
    open_page: OpenPage, course: tuple[User, User, Assignment], database: Database
) -> None:
    """By the browser's own keys, from one window into another; a mark takes in several."""
    page = first_rung(open_page, course)
    page.keyboard.press("t")
    text = page.get_by_role("dialog", name="Rung as text").get_by_role("textbox")
    text.fill("fill_pump := start_pb AND (filling OR NOT lamp) AND stop_pb;")
    page.keyboard.press("Control+Enter")
    saved(page, 0, "start_pb", "filling", "NOT lamp", "stop_pb", "fill_pump")
    page.locator('#rung-0 [data-path="1.0.0"]').click()
    page.locator('#rung-0 [data-path="2"]').click(modifiers=["Shift"])
    page.keyboard.press("Control+c")
    expect(page.locator("#editor-status .saved")).to_have_text("Copied")
    page.keyboard.press("l")
    expect(page.locator("#rung-1 .rung-head")).to_be_focused()
    page.keyboard.press("Control+v")
    saved(page, 1, "filling", "NOT lamp", "stop_pb")
    expect(page.locator("#rung-1")).to_have_attribute(
        "data-text", "(filling OR NOT lamp) AND stop_pb;"
    )
    # The first of two rungs is marked, the second selected: both are meant.
    page.keyboard.press("Home")
    page.keyboard.press("m")
    page.keyboard.press("ArrowUp")
    expect(page.locator(".rung-head.marked")).to_have_count(2)
    page.keyboard.press("Control+x")
    expect(page.locator(".rung-row")).to_have_count(0)
    student, _, assignment = course
    other = open_page(f"/assignments/{assignment.id}", student)
    expect(other.locator("html.editing")).to_be_attached()
    other.locator(".rungs-frame").focus()
    other.keyboard.press("Control+v")
    saved(other, 0, "start_pb", "filling", "NOT lamp", "stop_pb", "fill_pump")
    saved(other, 1, "filling", "NOT lamp", "stop_pb")
    other.keyboard.press("f")
    other.keyboard.type("filling")
    other.keyboard.press("Enter")
    about = other.get_by_role("dialog", name="About what is selected")
    about.get_by_role("button", name="rung 2").click()
    expect(other.locator('#rung-1 [data-path="0.0.0"]')).to_be_focused()


def test_every_element_and_nested_branches_by_the_keyboard(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)

    page.keyboard.press("g")
    declaration = page.get_by_role("dialog", name="Declaration")
    declaration.get_by_label("Symbol").fill("n")
    declaration.get_by_label("Type").select_option("INT")
    declaration.get_by_label("Initial value").fill("3")
    declaration.get_by_label("RETAIN").check()
    page.keyboard.press("Control+Enter")
    row = page.get_by_role("row", name="n INT")
    expect(row).to_contain_text("yes")

    page.locator("#rung-0 .rung-head").focus()
    for key, text, label in (
        ("n", "a", "normally open contact a"),
        ("Shift+n", "b", "normally closed contact b"),
        ("e", "c", "rising edge contact c"),
        ("Shift+e", "d", "falling edge contact d"),
        ("v", "n >= 3", "comparison n at least 3"),
        ("q", "a", "coil a"),
        ("Shift+q", "b", "negated coil b"),
        ("s", "c", "set coil c"),
        ("Shift+s", "d", "reset coil d"),
        ("a", "n := n + 1", "assignment to n of n plus 1"),
    ):
        type_entry(page, key, text, label)
    contacts = ("a", "NOT b", "RISING(c)", "FALLING(d)", "n >= 3")
    saved(page, 0, *contacts, "a", "NOT b", "c := TRUE", "d := FALSE", "n := n + 1")

    page.keyboard.press("l")
    expect(page.locator("#rung-1 .rung-head")).to_be_focused()
    inputs = {
        "TON": "T#2s",
        "TOF": "T#2s",
        "TP": "T#2s",
        "CTU": "5",
        "CTD": "5",
        "CTUD": "5",
        "R_TRIG": "",
        "F_TRIG": "",
        "SR": "a",
        "RS": "a",
    }
    for kind, value in inputs.items():
        page.keyboard.press("b")
        page.get_by_label("Block type").select_option(kind)
        entered = page.locator("#entry-text")
        text = entered.input_value()
        name = text.partition("(")[0]
        pin = {"T": "PT", "C": "PV"}.get(kind[0], {"SR": "R", "RS": "R1"}.get(kind, ""))
        entered.fill(f"{name}({pin} := {value})" if value else f"{name}()")
        page.keyboard.press("Enter")
        expect(
            page.locator(f'#rung-1 .selected[aria-label^="{kind} block {name}"]')
        ).to_be_visible()
    expect(page.locator("#rung-1 [data-path]")).to_have_count(len(inputs))

    page.keyboard.press("l")
    expect(page.locator("#rung-2 .rung-head")).to_be_focused()
    for text in ("a", "b", "c"):
        type_entry(page, "n", text, "normally open contact")
    # Around b and c: one end is marked, the other selected.
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("m")
    page.keyboard.press("ArrowRight")
    type_entry(page, "Shift+ArrowDown", "d", "normally open contact d")
    # A branch inside that branch, and one below it.
    type_entry(page, "Shift+ArrowRight", "lamp", "normally open contact lamp")
    type_entry(page, "Shift+ArrowDown", "stop_pb", "normally open contact stop_pb")
    page.keyboard.press("ArrowUp")
    type_entry(page, "Shift+p", "start_pb", "normally open contact start_pb")
    rung = page.locator("#rung-2")
    expect(rung).to_have_attribute(
        "data-text", "a AND (b AND c OR d AND (lamp OR start_pb OR stop_pb));"
    )
    page.keyboard.press("Delete")
    expect(rung).to_have_attribute("data-text", "a AND (b AND c OR d AND (lamp OR stop_pb));")

    page.locator("#rung-2 [data-text='a']").focus()
    page.keyboard.press("d")
    expect(page.locator("#rung-3")).to_be_visible()
    page.keyboard.press("Control+ArrowUp")
    expect(page.locator("#rung-2 .rung-head")).to_be_focused()
    page.keyboard.press("Shift+Delete")
    expect(page.locator("#rung-3")).to_have_count(0)


def drag(page: Page, source: str, target: str, across: float = 0.5, down: float = 0.5) -> None:
    """Drag with the pointer to a part of what is there."""
    page.locator(target).scroll_into_view_if_needed()
    begin, end = page.locator(source).bounding_box(), page.locator(target).bounding_box()
    assert begin is not None
    assert end is not None
    page.mouse.move(begin["x"] + begin["width"] / 2, begin["y"] + begin["height"] / 2)
    page.mouse.down()
    x, y = end["x"] + across * end["width"], end["y"] + down * end["height"]
    page.mouse.move(x + 3, y + 3)
    page.mouse.move(x, y)
    expect(page.locator(".drop-mark")).to_be_visible()
    page.mouse.up()


def test_elements_rungs_and_tools_are_dragged(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    for text in ("start_pb", "stop_pb"):
        type_entry(page, "n", text, f"normally open contact {text}")
    stop = "#rung-0 [data-text='stop_pb'] .cell"
    start = "#rung-0 [data-text='start_pb'] .cell"
    drag(page, stop, start, across=0.1)
    saved(page, 0, "stop_pb", "start_pb")
    drag(page, ".tool[data-command=closed]", start, down=0.9)
    page.keyboard.type("sump_high")
    page.keyboard.press("Enter")
    rung = page.locator("#rung-0")
    expect(rung).to_have_attribute("data-text", "stop_pb AND (start_pb OR NOT sump_high);")
    page.keyboard.press("l")
    expect(page.locator("#rung-1")).to_be_visible()
    drag(page, "#rung-1 .rung-head", "#rung-0", down=0.1)
    expect(page.locator("#rung-1")).to_have_attribute(
        "data-text", "stop_pb AND (start_pb OR NOT sump_high);"
    )
    drag(page, "#rung-1 [data-text='stop_pb'] .cell", "#rung-0 svg", across=0.6)
    saved(page, 0, "stop_pb")
    page.set_viewport_size({"width": 1280, "height": 3000})
    drag(page, "#points [data-address='%QX0.1'] th", "#rung-0 svg")
    saved(page, 0, "stop_pb", "lamp")
    drag(page, "#points [data-address='%IX0.2'] th", "#rung-0 [data-text='stop_pb'] .cell", 0.9)
    saved(page, 0, "stop_pb", "sump_high", "lamp")


def test_a_finger_drags_after_a_rest(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    for text in ("start_pb", "stop_pb"):
        type_entry(page, "n", text, f"normally open contact {text}")
    page.locator("#rung-0").scroll_into_view_if_needed()
    devtools = page.context.new_cdp_session(page)
    begin = page.locator("#rung-0 [data-text='stop_pb'] .cell").bounding_box()
    end = page.locator("#rung-0 [data-text='start_pb'] .cell").bounding_box()
    assert begin is not None
    assert end is not None

    def touch(kind: str, *points: dict[str, float]) -> None:
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(points)})

    touch("touchStart", {"x": begin["x"] + 20, "y": begin["y"] + 30})
    expect(page.locator("html.dragging")).to_be_attached()
    touch("touchMove", {"x": end["x"] + 20, "y": end["y"] + 30})
    touch("touchMove", {"x": end["x"] + 10, "y": end["y"] + 30})
    touch("touchEnd")
    saved(page, 0, "stop_pb", "start_pb")


def test_outputs_change_places_by_keys(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    page = first_rung(open_page, course)
    type_entry(page, "n", "start_pb", "normally open contact")
    type_entry(page, "s", "lamp", "set coil lamp")
    type_entry(page, "Shift+s", "lamp", "reset coil lamp")
    rung = page.locator("#rung-0")
    expect(rung).to_have_attribute("data-text", re.compile("lamp := TRUE; lamp := FALSE;"))
    page.keyboard.press("Control+ArrowLeft")
    expect(rung).to_have_attribute("data-text", re.compile("lamp := FALSE; lamp := TRUE;"))
    expect(page.locator('.selected[aria-label^="reset coil lamp"]')).to_be_focused()
    page.keyboard.press("Control+ArrowRight")
    expect(rung).to_have_attribute("data-text", re.compile("lamp := TRUE; lamp := FALSE;"))
