"""The trial run in a real browser: by pointer, by keyboard alone, and after connections are lost.

The plant runs in real time, so the tests hold it before they look, and wait for what they expect.
"""

import re
from dataclasses import dataclass, replace

import pytest
from playwright.sync_api import Locator, Page, WebSocketRoute, expect

from server.ladder.json_form import to_json
from server.ladder.text_form import parse_rungs
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.scenario import Turn
from server.marking.trial.trial import TrialRun
from server.store.courses import Assignment, SectionRole
from server.store.database import Database, Document
from server.store.people import Role, User
from server.store.programs import save_program, working_copy
from tests.browser.conftest import LOOKS, OpenPage, assert_accessible
from tests.factories import EXERCISES, NOON, make_assignment, make_section, make_user
from tests.web.lab import RIGHT


@dataclass
class Bench:
    """A student's program on the wash sump."""

    database: Database
    student: User
    teacher: User
    assignment: Assignment

    @property
    def sheet(self) -> str:
        return f"/assignments/{self.assignment.id}"

    @property
    def path(self) -> str:
        """The address that a run once had; it opens the plant and connects."""
        return f"{self.sheet}/trial"

    def document(self, rungs: tuple[str, ...]) -> Document:
        """Return the program that begins the exercise, with these rungs."""
        exercise = Catalogue(EXERCISES).find("wash-sump")
        assert exercise is not None
        return to_json(replace(start_program(exercise), rungs=parse_rungs("\n".join(rungs))))

    def program(self, rungs: tuple[str, ...]) -> None:
        """Store these rungs as the newest working program."""
        start, document = self.document(()), self.document(rungs)
        with self.database.write() as session:
            copy = working_copy(session, self.assignment, self.student.id, start)
            save_program(
                session,
                self.assignment,
                self.student.id,
                document,
                revision=copy.revision,
                start=start,
                now=NOON,
            )


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """The first run of a process may wait for the compiler; no page is looked at meanwhile."""
    exercise = Catalogue(EXERCISES).find("wash-sump")
    assert exercise is not None
    run = TrialRun(exercise, start_program(exercise))
    run.act(Turn("power", True))
    run.step(1)


@pytest.fixture
def bench(database: Database) -> Bench:
    with database.write() as session:
        student = make_user(session, name="Quỳnh Lê")
        teacher = make_user(session, Role.INSTRUCTOR, name="Teodoro Banaag")
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section, exercise="wash-sump")
    return Bench(database, student, teacher, assignment)


def button(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name, exact=True)


def value(page: Page, symbol: str) -> Locator:
    """The present value of a signal in the table."""
    return (
        page.locator("#signal-rows tr", has=page.get_by_text(symbol, exact=True))
        .locator("td")
        .first
    )


def test_a_press_is_held_with_pointer_and_keys_while_the_plant_runs(
    open_page: OpenPage, bench: Bench
) -> None:
    bench.program(("fill_pump := start_pb AND stop_pb;",))
    page = open_page(bench.path, bench.student)
    button(page, "Run").click()
    start = page.locator("button[data-control='panel.start_pb']")
    start.hover()
    page.mouse.down()
    expect(value(page, "fill_pump")).to_have_text("ON")
    page.mouse.up()
    expect(value(page, "fill_pump")).to_have_text("OFF")
    start.focus()
    page.keyboard.down(" ")
    expect(value(page, "fill_pump")).to_have_text("ON")
    page.keyboard.up(" ")
    expect(value(page, "fill_pump")).to_have_text("OFF")
    drawn = page.locator('.plant [data-kind="hand"][data-signal="panel.start_pb"]')
    drawn.hover()
    page.mouse.down()
    expect(value(page, "fill_pump")).to_have_text("ON")
    page.mouse.up()
    expect(value(page, "fill_pump")).to_have_text("OFF")


def test_a_run_goes_on_differently_from_a_past_moment(open_page: OpenPage, bench: Bench) -> None:
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student)
    for _ in range(5):
        button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.05 s")
    slider = page.get_by_label("Moment of the run")
    slider.focus()
    slider.press("ArrowLeft")
    expect(page.locator("#clock")).to_have_text("0.04 s")
    slider.press("ArrowLeft")
    expect(page.locator("#clock")).to_have_text("0.03 s")
    expect(page.locator("button[data-control='panel.start_pb']")).to_be_disabled()
    button(page, "Go on from here").click()
    expect(page.locator("#standing")).to_have_text("held")
    button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.04 s")


def test_a_lost_connection_and_a_closed_window_come_back_to_the_run(
    open_page: OpenPage, bench: Bench
) -> None:
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student)
    for _ in range(3):
        button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.03 s")
    page.close()
    page = open_page(bench.path, bench.student)
    expect(page.locator("#clock")).to_have_text("0.03 s")


def test_a_server_that_is_restarted_is_told_until_it_is_back(
    open_page: OpenPage, bench: Bench
) -> None:
    bench.program(RIGHT)
    page = open_page("/", bench.student)
    sockets: list[WebSocketRoute] = []

    def connect(socket: WebSocketRoute) -> None:
        sockets.append(socket)
        # The second one finds nobody yet.
        if len(sockets) == 2:
            socket.close(code=4000)
        else:
            socket.connect_to_server()

    page.route_web_socket("**/socket", connect)
    page.goto(bench.path)
    button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.01 s")
    # Service restart, by which the server ends its sockets when it is stopped.
    sockets[0].close(code=1012)
    expect(page.locator("#connection")).to_have_text(re.compile("^The server is being restarted"))
    expect(page.locator("#connection")).to_be_hidden()
    assert len(sockets) == 3
    button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.02 s")


def test_a_slow_reader_skips_frames_and_sees_the_end(open_page: OpenPage, bench: Bench) -> None:
    """Chromium reads 1 kB a second, with half a second of delay."""
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student)
    expect(page.locator("#rungs svg")).to_have_count(2)
    network = page.context.new_cdp_session(page)
    network.send("Network.enable")
    slow = {"offline": False, "latency": 500, "downloadThroughput": 1000, "uploadThroughput": 1000}
    network.send("Network.emulateNetworkConditions", slow)
    page.get_by_label("Speed").select_option(label="20 times")
    button(page, "Run").click()
    for _ in range(6):
        page.locator("button[data-control='panel.start_pb']").click()
        page.wait_for_timeout(300)
    free = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    network.send("Network.emulateNetworkConditions", free)
    button(page, "Hold").click()
    expect(page.locator("#standing")).to_have_text("held")
    other = open_page(bench.path, bench.student)
    expect(other.locator("#standing")).to_have_text("held")
    expect(page.locator("#clock")).to_have_text(other.locator("#clock").inner_text())
    for _ in range(600):  # the charts may still be drawn
        if traces(page) == traces(other):
            return
        page.wait_for_timeout(50)
    pytest.fail(f"{traces(page)} is not {traces(other)}")


def traces(page: Page) -> list[str]:
    """The lines of the chart's bits."""
    bits: list[str] = page.locator(".timing-chart .bit .trace").evaluate_all(
        "all => all.map(each => each.getAttribute('d'))"
    )
    return bits


def test_the_instructor_watches_by_link(open_page: OpenPage, bench: Bench) -> None:
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student)
    page.get_by_text("Recorded runs").click()
    link = page.get_by_role("link", name=f"{bench.path}s/{bench.student.id}")
    watching = open_page(str(link.get_attribute("href")), bench.teacher)
    expect(watching.get_by_text("You are watching Quỳnh Lê.")).to_be_visible()
    button(page, "One scan").click()
    expect(watching.locator("#clock")).to_have_text("0.01 s")
    expect(page.locator("#standing")).to_contain_text("watched")
    expect(watching.get_by_role("button", name="Run")).to_have_count(0)


def open_leaf(page: Page, name: str) -> None:
    """Turn to a leaf of a narrow sheet; a wide one shows them all."""
    leaf = page.get_by_role("link", name=name, exact=True)
    if leaf.is_visible():
        leaf.click()


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_the_page_is_accessible(open_page: OpenPage, bench: Bench, width: int, theme: str) -> None:
    bench.program(RIGHT)
    page = open_page(bench.path, bench.student, width=width, theme=theme)
    page.get_by_text("Supply and faults").click()
    button(page, "One scan").click()
    expect(page.locator("#clock")).to_have_text("0.01 s")
    open_leaf(page, "Chart")
    button(page, "Why is fill_pump so?").click()
    expect(page.locator("#why li").first).to_be_visible()
    assert_accessible(page)
    open_leaf(page, "Plant")
    page.get_by_role("switch", name="stop_pb: broken wire").click()
    button(page, "One scan").click()
    button(page, "Back 1 s").click()
    expect(page.locator("#standing")).to_contain_text("past moment")
    assert_accessible(page)
    button(page, "Back to now").click()
    expect(page.locator("#standing")).to_have_text("held")
    expect(button(page, "Run")).to_be_focused()
