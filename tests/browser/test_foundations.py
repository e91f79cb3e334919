"""Sign-in, home, gradebook and error pages in a real browser: readable by all, in every theme."""

import pytest
from playwright.sync_api import expect

from server.marking.verdict import Status
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import PASSWORD, make_assignment, make_marked, make_section, make_user


@pytest.fixture
def course(database: Database) -> tuple[User, User, Assignment]:
    """A student with a marked attempt, their instructor, and the assignment."""
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section)
        make_marked(
            session,
            assignment,
            student,
            R1=Status.MET,
            R2a=Status.NOT_MET,
            R2b=Status.NOT_EXERCISED,
        )
    return student, teacher, assignment


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_each_page_is_accessible(
    open_page: OpenPage, course: tuple[User, User, Assignment], width: int, theme: str
) -> None:
    student, teacher, assignment = course
    assert_accessible(open_page("/sign-in", width=width, theme=theme))
    assert_accessible(open_page("/", student, width, theme))
    page = open_page("/", teacher, width, theme)
    assert_accessible(page)
    page.goto(f"/assignments/{assignment.id}/gradebook")
    assert_accessible(page)
    page = open_page("/my-data", student, width, theme)
    expect(page.get_by_role("row", name="Ingrid Sollberg")).to_be_visible()
    assert_accessible(page)


def test_signing_in_with_the_keyboard_alone(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    student, _, assignment = course
    page = open_page("/sign-in")
    expect(page.get_by_label("Email")).to_be_focused()
    page.keyboard.type(student.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Control logic laboratory")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the sheet")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#sheet")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="My standing")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name=assignment.title)).to_be_focused()


def test_the_instructor_downloads_the_gradebook(
    open_page: OpenPage, course: tuple[User, User, Assignment]
) -> None:
    student, teacher, _ = course
    page = open_page("/", teacher)
    page.get_by_role("link", name="Gradebook", exact=True).click()
    row = page.get_by_role("row", name=student.name)
    expect(row.get_by_text("not met")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download CSV").click()
    text = download.value.path().read_text(encoding="utf-8-sig")
    head, line = text.splitlines()
    assert head.endswith("R1,R2a,R2b")
    assert line.endswith("1.0,1.0,3.0,,,,handed in,,met,not met,not exercised")
