"""A term from roll-over to grading by hand, as administrator, instructor and student meet it."""

import csv
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from playwright.sync_api import expect

from server.jobs.worker import mark
from server.ladder.json_form import to_json
from server.ladder.text_form import parse_rungs
from server.marking.files.catalogue import start_program
from server.marking.files.exercise_file import load_exercise
from server.marking.verdict import Status
from server.store.attempts import Submission
from server.store.authored import find_authored
from server.store.corrections import excuse
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.store.student_changes import Profile, add_accommodation, withdraw_student
from server.store.submissions import submit
from server.web.access import COOKIE
from tests.browser.conftest import OpenPage, assert_accessible
from tests.factories import (
    EXERCISES,
    NOON,
    Clock,
    make_assignment,
    make_marked,
    make_section,
    make_user,
    mark_what_waits,
    sign_in,
)
from tests.web.authoring.test_authoring import Author
from tests.web.authoring.test_authoring_life import looked_into, publish, requirement
from tests.web.lab import OVERFILLS, RIGHT, Desk

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


def test_a_table_is_sorted_by_its_reader(open_page: OpenPage, database: Database) -> None:
    teacher, _, _, assignment = fall_section(database)
    page = open_page(f"/sections/{assignment.section_id}/roster", teacher)
    region = page.get_by_role("region", name="People of the section")
    names, heading = region.get_by_role("rowheader"), region.get_by_role("columnheader")
    people = ["Ada Okonjo", "Ben Haddad", "Ingrid Sollberg"]
    # Who teaches comes first from the server.
    expect(names).to_have_text([people[2], *people[:2]])
    by_name = heading.get_by_role("button", name="Name")
    by_name.click()
    expect(names).to_have_text(people)
    expect(heading.first).to_have_attribute("aria-sort", "ascending")
    by_name.click()
    expect(names).to_have_text(people[::-1])
    expect(heading.first).to_have_attribute("aria-sort", "descending")
    # By the keyboard: the instructor stands before the students, who keep their order.
    heading.get_by_role("button", name="Role").press("Enter")
    expect(names).to_have_text(["Ingrid Sollberg", "Ben Haddad", "Ada Okonjo"])
    expect(region.locator("th[aria-sort]")).to_have_text("Role")
    assert_accessible(page)


# -- twenty students ----------------------------------------------------------------------------


class Class:
    """An instructor and twenty students, each with a client of the running server."""

    def __init__(self, database: Database, site: str, clock: Clock, **columns: object) -> None:
        self._database, self._site, self._clock = database, site, clock
        self._clients: list[httpx2.Client] = []
        with database.write() as session:
            self.teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
            self.students = [make_user(session, name=f"Student {n:02}") for n in range(20)]
            self.section = make_section(
                session,
                (self.teacher, SectionRole.INSTRUCTOR),
                *((student, SectionRole.STUDENT) for student in self.students),
            )
            self.assignment = make_assignment(session, self.section, **columns)

    def client(self, user: User) -> Any:
        """A browser of its own, without pages; desks ask of it what a TestClient has, too."""
        with self._database.write() as session:
            token = sign_in(session, user, self._clock())
        return self.client_with({COOKIE: token})

    def client_with(self, cookies: Mapping[str, str]) -> Any:
        headers = {"Origin": self._site}
        client = httpx2.Client(base_url=self._site, headers=headers, cookies=dict(cookies))
        self._clients.append(client)
        return client

    def close(self) -> None:
        for client in self._clients:
            client.close()

    def desk(self, user: User) -> Desk:
        return Desk(self.client(user), self.assignment)

    def book(self) -> dict[str, dict[str, str]]:
        """The gradebook of the assignment as its file has it, by student."""
        address = f"/assignments/{self.assignment.id}/gradebook.csv"
        answer = self.client(self.teacher).get(address)
        rows = csv.DictReader(answer.content.decode("utf-8-sig").splitlines())
        return {row["Student"]: row for row in rows}


OpenClass = Callable[..., Class]


@pytest.fixture
def open_class(database: Database, site: str, clock: Clock) -> Iterator[OpenClass]:
    """Opens a class with what is set for it."""
    opened: list[Class] = []

    def open_class(**columns: object) -> Class:
        opened.append(Class(database, site, clock, **columns))
        return opened[-1]

    yield open_class
    for each in opened:
        each.close()


def test_students_whose_lives_differ_in_files_and_report(
    open_page: OpenPage, open_class: OpenClass, database: Database, clock: Clock
) -> None:
    """Due at noon; each requirement met is a point, of five; a day late costs a tenth.

    By hand, four days later: on time 5; two days after it with three more days 5, not late; a day
    late 4.5; excused and withdrawn nothing that counts; the sixth has nothing: missing.
    """
    course = open_class(
        exercise="wash-sump",
        title=SUMP.title,
        opens_at=NOON - timedelta(days=7),
        due_at=NOON,
        late_per_day=0.1,
    )
    plain, more_time, late, excused, withdrawn, idle = course.students[:6]
    by: dict[str, Any] = {"by_id": course.teacher.id, "now": clock()}
    of_section = course.section.id
    year = timedelta(days=365)
    with database.write() as session:
        head = make_user(session, Role.DEPARTMENT)
        for student in course.students[6:]:
            withdraw_student(session, of_section, student.id, **by)
        profile = Profile(1, 3, 0, NOON - year, NOON + year, "")
        add_accommodation(session, of_section, more_time.id, profile, **by)
        assignment = session.get_one(Assignment, course.assignment.id)
        excuse(session, assignment, excused.id, "Was at the press house.", **by)
        met = {each.id: Status.MET for each in SUMP.requirements}
        hour, day = timedelta(hours=1), timedelta(days=1)
        for student, at in (
            (plain, NOON - hour),
            (more_time, NOON + 2 * day),
            (late, NOON + day),
            (withdrawn, NOON - hour),
        ):
            make_marked(session, assignment, student, 1, at, **met)
        withdraw_student(session, of_section, withdrawn.id, **by)
    clock.now = NOON + 4 * day
    book = course.book()
    read = {
        student: (row["Points"].removesuffix(".0"), row["Days late"], row["State"])
        for student, row in book.items()
    }
    assert read[plain.name][:2] == ("5", "0")
    assert read[more_time.name][:2] == ("5", "0")
    assert read[late.name][:2] == ("4.5", "1")
    assert read[excused.name] == ("", "", "excused")
    assert read[idle.name] == ("", "", "missing")
    assert withdrawn.name not in read
    teacher = course.client(course.teacher)
    answer = teacher.get(f"/sections/{of_section}/gradebook.csv")
    rows = csv.DictReader(answer.content.decode("utf-8-sig").splitlines())
    by_name = {row["Student"]: row for row in rows}
    assert withdrawn.name not in by_name
    # The work is kept, and their instructor finds it.
    kept = teacher.get(f"/sections/{of_section}/students/{withdrawn.id}")
    assert "attempt 1 of 1" in kept.text
    assert by_name[late.name]["Share so far"] == "0.9"
    table = course.client(head).get(
        f"/reports/{course.section.course_id}/report.csv?term={course.section.term_id}&table=outcomes"
    )
    (overall, *_) = csv.DictReader(table.content.decode("utf-8-sig").splitlines())
    assert (overall["Outcome"], overall["Students"], overall["Reached"]) == ("O1", "3", "3")
    clock.now = NOON
    page = open_page("/", more_time, width=400, theme="dark")
    page.locator("summary", has_text="Done: 1 exercise").click()
    expect(page.get_by_text("due Thu 8 Oct 2026, 12:00")).to_be_visible()
    page = open_page("/", idle)
    expect(page.get_by_text("due Mon 5 Oct 2026, 12:00")).to_be_visible()


NO_LAMP = (RIGHT[0],)
LETS_GO = (
    "// [R1, R2a, R2b] Only while Start is held.\n"
    "fill_pump := start_pb AND stop_pb AND NOT sump_high;",
    RIGHT[1],
)

# Five students hand in each. The first version has R1 2, R2a 1, R3 1, R4 1: five points; the second
# R1 3, R2a 1, R2b 1, R3 1, R4 1: seven points. By hand:
# program     first          second        counts, out of 7
# right       5 (100 %)      7             7
# overfills   5 (100 %)      6, R2b fails  7, for 100 % was reached
# no lamp     4 (80 %)       6 (86 %)      6
# lets go     3 (60 %)       4 (57 %)      4.2, for 60 % was reached
# One of the first five is a day late, which costs a tenth: 4.5 of 5, then 6.3 of 7.
FIRST_AND_SECOND = {RIGHT: (5, 7), OVERFILLS: (5, 7), NO_LAMP: (4, 6), LETS_GO: (3, 4.2)}


def test_weight_and_suite_change_after_twenty_submissions(
    open_page: OpenPage, open_class: OpenClass, app: FastAPI, database: Database, clock: Clock
) -> None:
    course = open_class(exercise="my-sump", due_at=NOON, late_per_day=0.1)
    author = Author(course.client(course.teacher), course.teacher, "My sump", source="wash-sump")
    with database.read() as session:
        row = find_authored(session, author.id)
        assert row is not None
        second = row.text
    number = next(n for n in range(9) if requirement(second, n)["id"] == "R2b")
    author.do("remove", "requirements", number)
    publish(database, author)
    programs = [program for program in FIRST_AND_SECOND for _ in range(5)]
    catalogue = app.state.catalogue
    start = start_program(catalogue.find("my-sump"))
    with database.write() as session:
        taken = [
            submit(
                *(session, course.assignment, student.id),
                to_json(replace(start, rungs=parse_rungs("\n".join(program)))),
                NOON + timedelta(days=place == 0) - timedelta(minutes=1),
            )
            for place, (student, program) in enumerate(zip(course.students, programs, strict=True))
        ]
    for each in taken:
        assert isinstance(each, Submission)
        mark(database, catalogue, each.id, clock)

    def totals(book: dict[str, dict[str, str]]) -> list[tuple[float, float]]:
        rows = [book[student.name] for student in course.students]
        return [(float(row["Points"]), float(row["Out of"])) for row in rows]

    points: list[float] = [FIRST_AND_SECOND[program][0] for program in programs]
    assert totals(course.book()) == [(4.5, 5), *((each, 5) for each in points[1:])]

    author.client.post(
        f"{author.address}/text", data={"text": second, "revision": str(author.revision)}
    )
    author.revision += 1
    author.do("set", "requirements", 0, "weight", value="3")
    looked_into(database, author)
    author.client.post(f"{author.address}/compare")
    page = open_page(author.address, course.teacher)
    expect(page.get_by_text("20 of 20 marked again")).to_be_visible()
    expect(page.get_by_text("20 verdicts would change")).to_be_visible()
    publish(database, author)
    points = [FIRST_AND_SECOND[program][1] for program in programs]
    book = course.book()
    assert totals(book) == [(6.3, 7), *((each, 7) for each in points[1:])]
    assert sum(points) == pytest.approx(121)
    assert {row["R2b"] for row in book.values()} == {"met", "not met"}
    page = open_page(f"/sections/{course.section.id}/gradebook", course.teacher)
    # 121 points less the 0.7 of the day that one was late.
    assert sum(float(each) for each, _ in totals(book)) == pytest.approx(120.3)
    expect(page.get_by_role("row", name="Student 15")).to_contain_text("4.2")


LAB = {
    "exercise": "wash-sump",
    "opens_at": NOON,
    "due_at": NOON + timedelta(minutes=60),
    "closes_at": NOON + timedelta(minutes=60),
    "sitting_minutes": 40,
    "pass_code": "LAB234",
}


def test_a_supervised_lab_of_twenty_with_two_lost_connections(
    open_page: OpenPage, open_class: OpenClass, app: FastAPI, database: Database, clock: Clock
) -> None:
    course = open_class(**LAB)
    address = f"/assignments/{course.assignment.id}"
    desks = {student.name: course.desk(student) for student in course.students[:19]}

    def enter(desk: Desk, seat: str) -> None:
        fields = {"code": "lab234", "seat": seat}
        assert desk.client.post(f"{address}/sitting", data=fields).status_code == 303

    def build(desk: Desk, program: tuple[str, ...]) -> None:
        desk.page()
        for number, rung in enumerate(program):
            assert desk.do("paste rungs", at=number, text=rung).status_code == 200

    for number, desk in enumerate(desks.values()):
        enter(desk, f"seat {number}")
    for name, desk in desks.items():
        if name != "Student 18":
            build(desk, OVERFILLS if name == "Student 17" else RIGHT)
    # Two lose the connection: one comes back in the same browser, the other at another machine.
    clock.now = NOON + timedelta(minutes=20)
    lost = desks["Student 16"]
    again = course.client_with(lost.client.cookies)
    desks["Student 16"] = Desk(again, course.assignment)
    lost.client.close()
    desks["Student 17"] = course.desk(course.students[17])
    enter(desks["Student 17"], "seat 30")
    page = open_page(f"/sections/{course.section.id}/lab", course.teacher)
    row = page.get_by_role("region", name="Who sits where").get_by_role("row")
    expect(row).to_have_count(21)
    expect(row.filter(has_text="Student 17")).to_contain_text("seat 30")
    expect(row.filter(has_text="Student 17")).to_contain_text("20 minutes")
    expect(row.filter(has_text="Student 18")).to_contain_text("no connection")
    expect(row.filter(has_text="Student 19")).to_contain_text("not here yet")
    assert_accessible(page)
    for name in list(desks)[:17]:
        desk = desks[name]
        desk.page()
        assert desk.submit().status_code == 204
    # The others hand in nothing: at the end of their time the server does, where it can.
    clock.now = NOON + timedelta(minutes=40)
    for name in ("Student 17", "Student 18"):
        assert desks[name].submit().status_code == 403
        assert "Your sitting is over" in desks[name].client.get(f"{address}/sitting").text
    mark_what_waits(app.state.worker, database)
    book = course.book()
    # Six points: R1 2, R2a 1, R2b 1, R3 1, R4 1; who overfills loses R2b.
    expected = {f"Student {n:02}": ("6", "0") for n in range(17)}
    expected |= {"Student 17": ("5", "0"), "Student 18": ("", ""), "Student 19": ("", "")}
    assert {
        name: (row["Points"].removesuffix(".0"), row["Days late"]) for name, row in book.items()
    } == expected


def test_the_time_that_is_left_is_counted_and_said(
    open_page: OpenPage, database: Database, clock: Clock, expected_errors: list[str]
) -> None:
    expected_errors.append("ERR_INTERNET_DISCONNECTED")
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, **LAB)
    page = open_page(f"/assignments/{assignment.id}", student, width=400, theme="dark")
    assert_accessible(page)
    page.clock.install()
    page.get_by_label("Pass-code of the room").fill("lab234")
    page.get_by_label("Where you sit").fill("7")
    page.get_by_role("button", name="Begin my sitting").click()
    left = page.locator("#time-left")
    expect(left).to_contain_text("40 min left")
    assert_accessible(page)
    said = page.locator("#time-said")
    # What the server says holds: it is asked every 15 seconds.
    clock.now = NOON + timedelta(minutes=35)
    page.clock.fast_forward(15_000)
    expect(left).to_contain_text("5 min left")
    expect(said).to_have_text("5 minutes left")
    clock.now = NOON + timedelta(minutes=30)
    page.clock.fast_forward(15_000)
    expect(said).to_have_text("You have more time: 10 minutes left")
    page.context.set_offline(True)
    page.clock.fast_forward(15_000)
    expect(left).to_contain_text("no connection, your time goes on")
    page.context.set_offline(False)
    clock.now = NOON + timedelta(minutes=40)
    page.clock.fast_forward(15_000)
    expect(page.get_by_role("heading", name="Your sitting is over")).to_be_visible()
    assert_accessible(page)
