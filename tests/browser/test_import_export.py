"""A program handed on as a file and taken in again, and its versions, in a real browser."""

from pathlib import Path

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

RIGHT = """PROGRAM wash_sump
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    sump_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
END_VAR

// [R1] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;

// [R3] The lamp follows the switch.
lamp := sump_high;
END_PROGRAM
"""


@pytest.fixture
def work(database: Database) -> tuple[User, Assignment]:
    """A student with two rungs."""
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        program = to_json(parse_program(RIGHT))
        save_program(session, assignment, student.id, program, revision=0, start={}, now=NOON)
    return student, assignment


def undo(page: Page) -> None:
    """Undo in the editor, once it listens."""
    expect(page.locator("html.editing")).to_be_attached()
    page.get_by_role("button", name="Undo").click()


@pytest.mark.parametrize("kind", ["Text", "XML"])
def test_out_changed_elsewhere_in_and_undone(
    open_page: OpenPage, work: tuple[User, Assignment], tmp_path: Path, kind: str
) -> None:
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}", student)
    page.get_by_role("link", name="Versions and files").click()
    with page.expect_download() as download:
        page.get_by_role("link", name=f"{kind} of the program now").first.click()
    file = tmp_path / download.value.suggested_filename
    # Elsewhere the lamp is made to follow the pump.
    elsewhere = Path(download.value.path()).read_text()
    for old, new in (
        ("lamp := sump_high", "lamp := fill_pump"),
        ('Contact" operand="sump_high">', 'Contact" operand="fill_pump">'),
    ):
        elsewhere = elsewhere.replace(old, new)
    file.write_text(elsewhere)
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Preview import").click()
    expect(page.get_by_text("Nothing was left out.")).to_be_visible()
    expect(page.get_by_text("Rung 1 is the same.")).to_be_visible()
    words = (
        "Rung 2 changed: added normally open contact fill_pump at %QX0.0; "
        "removed normally open contact sump_high at %IX0.2."
    )
    expect(page.get_by_text(words)).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Import").click()
    contact = page.locator('#rung-1 [data-path="0"]')
    expect(contact).to_have_attribute("data-text", "fill_pump")
    undo(page)
    expect(contact).to_have_attribute("data-text", "sump_high")


def test_named_compared_brought_back_and_undone(
    open_page: OpenPage, work: tuple[User, Assignment]
) -> None:
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}/versions", student)
    page.get_by_label("Name for this version").fill("Before the lamp")
    page.keyboard.press("Enter")
    expect(page.get_by_role("rowheader", name="Before the lamp")).to_be_visible()
    page.get_by_role("link", name=assignment.title).click()
    expect(page.locator("html.editing")).to_be_attached()
    page.locator("#rung-1 .rung-head").click()
    page.keyboard.press("Shift+Delete")
    expect(page.locator(".rung-row")).to_have_count(1)
    page.keyboard.press("k")
    page.get_by_label("Before the lamp as what was before").check()
    page.get_by_label("The program now as what came after").check()
    page.get_by_role("button", name="Compare the two").click()
    expect(page.get_by_text("1 rung removed.")).to_be_visible()
    expect(page.locator(".rung .removed")).to_have_count(2)
    assert_accessible(page)
    page.get_by_role("button", name="Restore “Before the lamp”").click()
    expect(page.locator(".rung-row")).to_have_count(2)
    undo(page)
    expect(page.locator(".rung-row")).to_have_count(1)


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_a_file_that_is_refused(
    open_page: OpenPage,
    work: tuple[User, Assignment],
    tmp_path: Path,
    expected_errors: list[str],
    width: int,
    theme: str,
) -> None:
    expected_errors.append("422")
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}/versions", student, width, theme)
    file = tmp_path / "lab.st"
    file.write_text(RIGHT.replace("sump_high;", "sump_high"))
    page.get_by_label("File").set_input_files(file)
    page.get_by_role("button", name="Preview import").click()
    expect(page.get_by_role("alert")).to_contain_text("lab.st was not imported.")
    expect(page.get_by_role("alert")).to_contain_text("Line 11, column 67: Expected ';'")
    assert_accessible(page)
