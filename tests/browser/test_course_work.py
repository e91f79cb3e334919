"""A term's start, a lab hour, an override, and the department's report down to one submission."""

from dataclasses import replace
from datetime import timedelta

import pytest
from playwright.sync_api import FilePayload, expect

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_program
from server.marking.files.exercise_file import load_exercise
from server.marking.verdict import Difference, Status
from server.marking.verdict_form import to_json as verdict_to_json
from server.store import roster
from server.store.courses import Assignment, Section, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.store.submissions import store_verdict
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import (
    EXERCISES,
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_submission,
    make_user,
    make_verdict,
)

ROSTER = "Email,Name\nbo@larkmoor.example,Bo Li\n"
SUMP = load_exercise(EXERCISES / "wash-sump")
WRONG = SUMP.requirements[0].id


@pytest.fixture
def lab(database: Database) -> tuple[User, User, User, Assignment]:
    """Student, instructor, department and an assignment; the student failed twice just now."""
    with database.write() as session:
        student = make_user(session, name="Elif Yıldırım")
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        head = make_user(session, Role.DEPARTMENT, name="Wanjiru Kamande")
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section, exercise="wash-sump")
        statuses = {each.id: Status.MET for each in SUMP.requirements} | {WRONG: Status.NOT_MET}
        for attempt in (1, 2):
            at = NOON - timedelta(minutes=9 - attempt)
            submission = make_marked(session, assignment, student, attempt, at, **statuses)
            submission.program = {"version": 1, "name": "p"}
    return student, teacher, head, assignment


def test_a_term_begins(open_page: OpenPage, database: Database) -> None:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        make_section(session, (teacher, SectionRole.INSTRUCTOR))
    page = open_page("/", teacher)
    page.get_by_role("link", name="Roster").click()
    file = FilePayload(name="roster.csv", mimeType="text/csv", buffer=ROSTER.encode())
    page.get_by_label("CSV file").set_input_files(file)
    page.get_by_role("button", name="Preview changes").click()
    expect(page.get_by_role("heading", name="New accounts: 1")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Save roster").click()
    expect(page.get_by_role("rowheader", name="Li, Bo")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="Course home").click()
    page.get_by_role("link", name="Set exercises").click()
    page.get_by_label("Points lost per day late, %").fill("20")
    page.get_by_role("button", name="Set the exercise").click()
    expect(page.get_by_role("link", name=SUMP.title)).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name=SUMP.title).click()
    expect(page.get_by_label("Points lost per day late, %")).to_have_value("20")
    assert_accessible(page)
    page.get_by_role("link", name="Course home").click()
    page.get_by_role("link", name="Roster").click()
    page.get_by_role("button", name="Create a new code").click()
    code = page.get_by_text("the join page").locator("..").locator("strong").inner_text()
    own = open_page("/join")
    own.get_by_label("Join code").fill(code)
    own.get_by_label("Name").fill("Amara Okonjo")
    own.get_by_label("Email").fill("amara@larkmoor.example")
    own.get_by_label("Password").fill("quince-press-9")
    assert_accessible(own)
    own.get_by_role("button", name="Join the section").click()
    own.get_by_label("Email").fill("amara@larkmoor.example")
    own.get_by_label("Password").fill("quince-press-9")
    own.get_by_role("button", name="Sign in").click()
    expect(own.get_by_role("link", name=SUMP.title)).to_be_visible()


def test_a_lab_hour(
    open_page: OpenPage, database: Database, lab: tuple[User, User, User, Assignment]
) -> None:
    student, teacher, _, assignment = lab
    page = open_page(f"/sections/{assignment.section_id}/lab", teacher)
    row = page.get_by_role("row", name="Elif Yıldırım")
    expect(row.get_by_text(f"{WRONG}, 2 times")).to_be_visible()
    assert_accessible(page)
    with database.write() as session:
        statuses = {each.id: Status.MET for each in SUMP.requirements}
        make_marked(session, session.merge(assignment), student, 3, NOON, **statuses)
    # The sheet brings itself up to date.
    expect(page.get_by_text("every requirement is met")).to_be_visible()
    expect(row.get_by_text("2 times")).to_have_count(0)
    own = open_page(f"/sections/{assignment.section_id}/standing", student)
    expect(own.get_by_text("attempt 3 of 3")).to_be_visible()
    assert_accessible(own)


def test_points_set_by_hand(open_page: OpenPage, lab: tuple[User, User, User, Assignment]) -> None:
    student, teacher, _, assignment = lab
    page = open_page(f"/sections/{assignment.section_id}/gradebook", teacher)
    page.get_by_role("button", name="show requirements").click()
    expect(page.get_by_text("attempt 1 of 2")).to_be_visible()
    assert_accessible(page)
    page.locator(".more").get_by_role("link", name=assignment.title).click()
    page.get_by_label("Points of").fill("1")
    page.get_by_label("Reason").fill("Shown at the bench")
    page.get_by_role("button", name="Set the points").click()
    expect(page.get_by_text("1 points count")).to_be_visible()
    assert_accessible(page)
    own = open_page(f"/sections/{assignment.section_id}/standing", student)
    expect(own.get_by_text("Set by the instructor: Shown at the bench")).to_be_visible()


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_the_report_down_to_a_submission(
    open_page: OpenPage, lab: tuple[User, User, User, Assignment], width: int, theme: str
) -> None:
    _, _, head, assignment = lab
    page = open_page("/", head, width, theme)
    page.get_by_role("link", name="Reports").click()
    page.get_by_role("link", name="Control logic laboratory").click()
    expect(page.get_by_role("img", name="Share of students")).to_be_visible()
    chart = page.get_by_role("img", name="Share of students").bounding_box()
    assert chart is not None
    assert chart["width"] <= width, "the chart is seen whole"
    assert_accessible(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Every table as XLSX").click()
    assert download.value.suggested_filename.endswith("-report.xlsx")
    for name in ("Outcomes and targets", "Program outcomes"):
        page.get_by_role("link", name=name).click()
        assert_accessible(page)
    page.goto(f"/reports/{assignment.section.course_id}/actions")
    assert_accessible(page)
    page.get_by_role("link", name="Binder").click()
    expect(page.get_by_role("button", name="Print, or save as PDF")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="Mistakes").click()
    assert_accessible(page)
    page.get_by_role("link", name="1 of 1 students").click()
    expect(page.get_by_role("rowheader", name="student 1")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="attempt 1").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(assignment.title)
    expect(page.get_by_text("not shown")).to_be_visible()
    assert_accessible(page)


def test_programs_are_compared_side_by_side(
    open_page: OpenPage, database: Database, lab: tuple[User, User, User, Assignment]
) -> None:
    """A pair among four, whose names and order of rungs differ: a question, not a verdict."""
    student, teacher, _, assignment = lab
    with database.write() as session:
        section = session.get_one(Section, assignment.section_id)
        others = [make_user(session, name=name) for name in ("Bo Li", "Ada Roe", "Cem Kaya")]
        for each in others:
            roster.enrol(session, section, each, SectionRole.STUDENT)
        here = session.merge(assignment)
        bits = ("start_pb AND stop_pb", "start_pb AND stop_pb", "NOT start_pb", "NOT stop_pb")
        for n, (each, network) in enumerate(zip([student, *others], bits, strict=True)):
            rungs = [f"own_{n} := {network};", f"fill_pump := own_{n};"]
            text = (
                f"PROGRAM p\nVAR\n start_pb AT %IX0.0 : BOOL;\n stop_pb AT %IX0.1 : BOOL;\n"
                f" fill_pump AT %QX0.0 : BOOL;\n own_{n} : BOOL;\nEND_VAR\n\n"
                + "\n\n".join(reversed(rungs) if n else rungs)
                + "\nEND_PROGRAM\n"
            )
            statuses = {requirement.id: Status.MET for requirement in SUMP.requirements}
            submission = make_marked(session, here, session.merge(each), 9, NOON, **statuses)
            submission.program = to_json(parse_program(text))
    page = open_page(f"/assignments/{assignment.id}/gradebook", teacher)
    page.get_by_role("link", name="Compare programs").click()
    expect(page.get_by_role("heading", name="Bo Li and Elif Yıldırım")).to_be_visible()
    expect(page.get_by_text("This is a question to ask the two students")).to_be_visible()
    expect(page.get_by_text("in both", exact=True)).to_have_count(4)
    assert_accessible(page)


def test_a_second_look_changes_the_exercise(
    open_page: OpenPage, lab: tuple[User, User, User, Assignment], database: Database
) -> None:
    _, teacher, _, assignment = lab
    scenario = """\
  - name: Second look at fill_pump
    steps:
      - {after: 1 s, press: [start_pb]}
    run on: 2 s
"""
    steps = ("1 s later: start_pb on", "2 s later: the run ends")
    sentence = "fill_pump was on for more than 0.15 s, from 1.81 s on."
    looked = Difference("fill_pump", sentence, 1810, "a scenario", steps, scenario=scenario)
    verdict = replace(
        make_verdict(**{each.id: Status.MET for each in SUMP.requirements}), second_look=(looked,)
    )
    with database.write() as session:
        submission = make_submission(session, assignment, lab[0], 3)
        store_verdict(session, submission.id, verdict, verdict_to_json(verdict), NOON)
    page = open_page("/", teacher)
    page.get_by_role("link", name="Grading").first.click()
    page.get_by_role("link", name="1 with a second look to take").click()
    page.get_by_role("link", name="Attempt 3 of").click()
    address = page.url
    for width, theme in LOOKS:
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
        assert_accessible(page)
    page.get_by_role("button", name="Wrong: make this run a scenario").click()
    expect(page.get_by_text("Second look at fill_pump").first).to_be_visible()
    page.goto(address)
    page.get_by_role("button", name="Leave it free on the sheet").click()
    expect(page.get_by_role("heading", name="Left to you")).to_be_visible()
    assert_accessible(page)
    page.goto(address)
    page.get_by_role("button", name="Also right: add the program to the references").click()
    expect(page.get_by_text("right-seen-1").first).to_be_visible()
    page.goto(address)
    expect(page.get_by_text("The points stay")).to_be_visible()
