"""A term from roll-over to grading by hand, as administrator, instructor and student meet it."""

from datetime import date, timedelta

from playwright.sync_api import expect

from server.marking.files.exercise_file import load_exercise
from server.marking.verdict import Status
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.browser.conftest import OpenPage, assert_accessible
from tests.factories import (
    EXERCISES,
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_user,
)

SUMP = load_exercise(EXERCISES / "wash-sump")
FIRST = SUMP.requirements[0].id


def fall_section(database: Database) -> tuple[User, User, User, Assignment]:
    """An instructor with two students, who each have missed one requirement."""
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        ada, ben = (make_user(session, name=name) for name in ("Ada Okonjo", "Ben Haddad"))
        section = make_section(
            session,
            (teacher, SectionRole.INSTRUCTOR),
            (ada, SectionRole.STUDENT),
            (ben, SectionRole.STUDENT),
        )
        section.term.ends = date(2026, 12, 18)
        assignment = make_assignment(
            session, section, exercise="wash-sump", title=SUMP.title, weight=3.0, late_per_day=0.1
        )
        statuses = {each.id: Status.MET for each in SUMP.requirements} | {FIRST: Status.NOT_MET}
        for minute, student in enumerate((ada, ben)):
            at = NOON - timedelta(minutes=9 - minute)
            submission = make_marked(session, assignment, student, 1, at, **statuses)
            submission.program = {"version": 1, "name": "p"}
    return teacher, ada, ben, assignment


def test_a_new_term_takes_over_what_the_last_one_had(
    open_page: OpenPage, database: Database
) -> None:
    teacher, _, _, assignment = fall_section(database)
    with database.write() as session:
        head = make_user(session, Role.ADMINISTRATOR)
        code = session.get_one(Assignment, assignment.id).section.course.code
    page = open_page("/courses", head)
    new_term = page.locator('form[action="/terms"]')
    new_term.get_by_label("Name").fill("Spring 2027")
    new_term.get_by_label("Begins").fill("2027-01-11")
    new_term.get_by_label("Ends").fill("2027-05-14")
    page.get_by_role("button", name="Add the term").click()
    page.locator("summary", has_text="Spring 2027").click()
    term = page.locator("details", has_text="Spring 2027")
    term.get_by_label("Holidays").fill("2027-02-08 to 2027-02-12 Break")
    assert_accessible(page)
    term.get_by_role("button", name="Save term").click()
    section = page.locator('form[action="/sections"]')
    section.get_by_label("Course").select_option(code)
    section.get_by_label("Term").select_option("Spring 2027")
    section.get_by_label("Number").fill("07")
    section.get_by_label("Instructor's email").fill(teacher.email)
    section.get_by_role("button", name="Add the section").click()
    expect(page.get_by_role("rowheader", name=f"{code} section 07")).to_be_visible()

    page = open_page("/", teacher, width=400, theme="dark")
    new_section = page.locator("section", has_text="Section 07")
    new_section.get_by_role("link", name="Set exercises").click()
    page.get_by_role("link", name="Take over from another section").click()
    expect(page.get_by_label("Holidays of Spring 2027")).to_have_value(
        "2027-02-08 to 2027-02-12 Break"
    )
    page.get_by_role("button", name="Show the new dates").click()
    # From Monday of the eighth week of fall to that of spring, past the week of holidays.
    due = page.get_by_label(f"{SUMP.title} is due")
    expect(due).to_have_value("2027-03-08T12:00")
    assert_accessible(page)
    page.get_by_role("button", name="Set the chosen exercises").click()
    row = page.get_by_role("row", name=SUMP.title)
    expect(row).to_contain_text("Mon 8 Mar 2027")
    expect(row).to_contain_text("3")


def test_an_instructor_agrees_with_one_student_and_grades_the_next(
    open_page: OpenPage, database: Database
) -> None:
    teacher, ada, ben, assignment = fall_section(database)
    section = f"/sections/{assignment.section_id}"
    page = open_page(f"{section}/students/{ada.id}", teacher, width=400, theme="dark")
    page.get_by_label("More days").fill("3")
    page.get_by_label("Note, for instructors").fill("letter of the accessibility office")
    page.get_by_role("button", name="Add accommodation").click()
    expect(page.get_by_text("3 more days")).to_be_visible()
    expect(page.get_by_text("due Thu 15 Oct 2026")).to_be_visible()
    assert_accessible(page)

    page = open_page(f"{section}/grading", teacher)
    expect(page.get_by_role("row")).to_have_count(3)
    assert_accessible(page)
    page.get_by_role("link", name=f"Attempt 1 of {ada.name}").click()
    page.locator("summary", has_text=f"Set {FIRST} by hand").click()
    row = page.locator(f"#{FIRST}")
    row.get_by_label("Reason, for the student").fill("Shown at the bench.")
    row.get_by_role("button", name=f"Set {FIRST}", exact=True).click()
    expect(page.get_by_text("Every requirement is met.")).to_be_visible()
    expect(page.get_by_text("Keys:")).to_be_visible()
    page.keyboard.press("Alt+KeyC")
    page.keyboard.type("It *seals in*.")
    page.get_by_label("Keep as a snippet").check()
    page.keyboard.press("Alt+KeyC")
    page.keyboard.press("Control+Enter")
    expect(page.locator(".comment em")).to_have_text("seals in")
    assert_accessible(page)
    expect(page.get_by_text("Keys:")).to_be_visible()
    page.keyboard.press("Alt+KeyN")
    expect(page.locator(".title-block")).to_contain_text(ben.name)
    expect(page.get_by_text("Keys:")).to_be_visible()
    page.get_by_label("Insert a snippet").select_option(label="It *seals in*.")
    expect(page.get_by_label("Comment, in Markdown")).to_have_value("It *seals in*.")

    page = open_page("/", ada, width=400)
    page.get_by_role("link", name="My standing").click()
    page.get_by_role("link", name="attempt 1 of 1").click()
    expect(page.get_by_text("“Shown at the bench.”")).to_be_visible()
    page.goto("/calendar")
    page.get_by_role("button", name="Make a link").click()
    expect(page.get_by_text("/calendar.ics?key=")).to_be_visible()
    assert_accessible(page)
    page.goto("/mail")
    expect(page.get_by_role("checkbox", name="An instructor commented")).to_be_checked()
    assert_accessible(page)
