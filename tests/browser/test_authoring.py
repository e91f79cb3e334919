"""An instructor writes a tank exercise from nothing in the author's sheet; a student solves it."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect
from sqlalchemy import select

from server.marking.files.drafts import Draft
from server.marking.files.exercise_zip import to_zip
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.store.trials import SavedTrial
from server.web.trial import runs
from tests.browser.conftest import LOOKS, WIDTHS, OpenPage, assert_accessible
from tests.factories import EXERCISES, make_section, make_user

RIGHT = """PROGRAM right_seal_in
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    tank_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
END_VAR

// [R1a] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT tank_high;
END_PROGRAM
"""


@pytest.fixture
def people(database: Database) -> tuple[User, User]:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR, name="Ingrid Sollberg")
        student = make_user(session, name="Elif Yıldırım")
        make_section(session, (teacher, SectionRole.INSTRUCTOR), (student, SectionRole.STUDENT))
        return teacher, student


def kept(page: Page, act: str, *, exact: bool = True) -> None:
    """Press a button of the sheet and wait until the change is kept."""
    before = page.locator("#authoring").get_attribute("data-revision")
    page.get_by_role("button", name=act, exact=exact).click()
    expect(page.locator("#authoring")).not_to_have_attribute("data-revision", before or "")


def fill(page: Page, path: str, value: str) -> None:
    """Type into the field at a place of the file, leave it, and wait until it is kept."""
    before = page.locator("#authoring").get_attribute("data-revision")
    field = page.locator(f"[data-path='{path}']")
    for summary in field.locator("xpath=ancestor::details[not(@open)]/summary").all():
        summary.click()
    field.fill(value)
    field.blur()
    expect(page.locator("#authoring")).not_to_have_attribute("data-revision", before or "")


def begin(open_page: OpenPage, teacher: User) -> Page:
    page = open_page("/authoring", teacher)
    page.get_by_label("Title").fill("Sugar day tank")
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("html.authoring-ready")).to_be_attached()
    return page


def test_a_tank_exercise_from_nothing_until_a_student_solves_it(
    open_page: OpenPage,
    people: tuple[User, User],
    database: Database,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(runs, "SAVE_SECONDS", 0)
    teacher, student = people
    page = begin(open_page, teacher)
    fill(page, '["summary"]', "A fill pump that seals itself in.")
    fill(
        page,
        '["statement"]',
        "P-205 fills the tank. HS-201 starts it, HS-202 and LSH-203 stop it (R1a, R1b).",
    )
    expect(page.locator("#statement-preview")).to_contain_text("P-205 fills the tank.")
    kept(page, "Use this plant")
    expect(page.locator("svg.plant")).to_be_visible()

    # One sentence with two demands becomes two requirements.
    sentence = "A press of Start starts the pump, and the pump runs on when it is released."
    page.get_by_label("New requirement").fill(sentence)
    kept(page, "Add the requirement")
    kept(page, "Split R1")
    expect(page.get_by_role("article", name="Requirement R1b")).to_be_visible()
    for number, check in enumerate(("whenever", "never")):
        page.locator(f"#new-check-{number + 1}").select_option(check)
        name = "Add a check to " + ("R1a", "R1b")[number]
        kept(page, name)
    fill(page, '["requirements", 0, "checks", 0, "whenever"]', "RISING(start_pb) AND stop_pb")
    # A signal is put in at the cursor, and an example as it is.
    before = page.locator("#authoring").get_attribute("data-revision")
    page.get_by_role("button", name="Signals for Then").click()
    page.locator("#signals").get_by_role("button", name="fill_pump", exact=True).click()
    expect(page.locator("#authoring")).not_to_have_attribute("data-revision", before or "")
    page.get_by_role("button", name="Help on Then").click()
    expect(page.locator("#field-help")).to_contain_text("this must hold")
    page.keyboard.press("Escape")
    fill(page, '["requirements", 0, "checks", 0, "unless"]', "NOT stop_pb OR tank_high")
    stops = "stop_pb AND NOT tank_high AND power"
    fill(page, '["requirements", 1, "checks", 0, "never"]', f"FALLING(fill_pump) AND {stops}")
    fill(page, '["requirements", 1, "checks", 0, "given"]', "fill_pump AND NOT start_pb")

    # An implied requirement with its checks.
    page.get_by_role("button", name="Adopt Stop wins").click()
    expect(page.get_by_role("article", name="Requirement R2")).to_be_visible()

    # A right program, then a scenario that is recorded in a trial run.
    page.get_by_label("Name of a program").fill("right-seal-in")
    kept(page, "Add a program")
    before = page.locator("#authoring").get_attribute("data-revision")
    page.get_by_label("Text of right-seal-in.st").fill(RIGHT)
    page.get_by_label("Text of right-seal-in.st").blur()
    expect(page.locator("#authoring")).not_to_have_attribute("data-revision", before or "")
    kept(page, "Add a scenario")
    fill(page, '["scenarios", 0, "steps", 0, "tap"]', "start_pb")
    kept(page, "Add a step")
    fill(page, '["scenarios", 0, "steps", 1, "tap"]', "stop_pb")
    expect(page.locator(".standing")).to_contain_text("No faults")
    with page.expect_popup() as opened:
        page.get_by_role("button", name="Record in a trial run").click()
    trial = opened.value
    press = trial.locator("button[data-control='panel.start_pb']")
    # The first run of a process waits for the compiler.
    expect(trial.locator("#standing")).to_contain_text("held", timeout=60_000)
    trial.get_by_role("button", name="Run", exact=True).click()
    expect(trial.locator("#clock")).not_to_have_text("0.00 s")
    press.click()
    trial.get_by_role("button", name="Hold", exact=True).click()
    expect(trial.locator("#standing")).to_have_text("held")
    scans = round(float(trial.locator("#clock").inner_text().removesuffix(" s")) * 100)
    while recorded_scans(database, teacher) < scans:
        trial.wait_for_timeout(50)
    trial.close()
    count = page.locator(".scenario-block").count()
    page.get_by_role("button", name="Add recorded run").click()
    expect(page.locator(".scenario-block")).to_have_count(count + 1)
    expect(page.locator(".standing")).to_contain_text("No faults")

    # The suite is looked into; a variant survives, and a scenario that catches it is offered.
    offer = page.get_by_role("button", name="Add this scenario").first
    expect(offer).to_be_visible(timeout=120_000)
    scenarios = page.locator(".scenario-block")
    count = scenarios.count()
    offer.click()
    expect(scenarios).to_have_count(count + 1)

    publish(page, "A first try with the class; more will follow.")
    solve(open_page, student, "Sugar day tank", RIGHT)


def recorded_scans(database: Database, teacher: User) -> int:
    """How much of the teacher's only run is stored."""
    with database.read() as session:
        stored = session.scalars(select(SavedTrial).where(SavedTrial.user_id == teacher.id)).all()
        return max((each.scans for each in stored), default=0)


def publish(page: Page, reason: str) -> None:
    """With a reason, once it has been looked into; then set for the section."""
    expect(page.get_by_text("caught by the suite")).to_be_visible(timeout=240_000)
    page.get_by_label("findings are open").fill(reason)
    page.get_by_role("button", name="Publish version 1").click()
    page.get_by_role("button", name="Set for the section").click()
    expect(page.get_by_text("Set for AUT")).to_be_visible()


def solve(open_page: OpenPage, student: User, title: str, program: str) -> Page:
    """A student writes the rungs of a right program as text, and hands them in."""
    work = open_page("/", student)
    work.get_by_role("link", name=title).click()
    expect(work.locator("html.editing")).to_be_attached()
    rungs = program[program.index("// [R1") : program.index("END_PROGRAM")].strip()
    for number, rung in enumerate(rungs.split("\n\n")):
        work.get_by_role("button", name="Add a rung").press("Enter")
        expect(work.locator(f"#rung-{number} .rung-head")).to_be_focused()
        work.keyboard.press("t")
        work.get_by_role("textbox", name="AND is series").fill(rung)
        expect(work.locator("#rung-preview svg")).to_be_visible()
        work.keyboard.press("Control+Enter")
        expect(work.locator(f"#rung-{number} [data-output]").first).to_be_visible()
    work.get_by_role("button", name="Submit the program").click()
    met = re.compile("Every requirement is met|requirements are met")
    expect(work.get_by_text(met)).to_be_visible(timeout=60_000)
    return work


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_the_author_s_sheet_is_accessible(
    open_page: OpenPage, people: tuple[User, User], width: int, theme: str
) -> None:
    page = open_page("/authoring", people[0], width=width, theme=theme)
    assert_accessible(page)
    page.get_by_label("Title").fill("My sump")
    page.get_by_label("Begin with").select_option("wash-sump")
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("html.authoring-ready")).to_be_attached()
    expect(page.get_by_role("button", name="Publish version 1")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="Edit as text").click()
    assert_accessible(page)


def test_a_change_from_an_older_window_is_refused_and_still_there(
    open_page: OpenPage, people: tuple[User, User], expected_errors: list[str]
) -> None:
    expected_errors.append("409 (Conflict)")
    first = begin(open_page, people[0])
    second = open_page(first.url, people[0])
    expect(second.locator("html.authoring-ready")).to_be_attached()
    fill(first, '["summary"]', "From the first window.")
    field = second.locator("[data-path='[\"summary\"]']")
    field.fill("From the second window.")
    field.blur()
    expect(second.locator("#notice")).to_contain_text("changed in another window")
    expect(field).to_have_value("From the second window.")


def test_a_slow_preview_of_the_statement_loses_no_change(
    open_page: OpenPage, people: tuple[User, User]
) -> None:
    page = begin(open_page, people[0])
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/statement", hold)
    with page.expect_request("**/statement"):
        page.locator("[data-path='[\"statement\"]']").fill("P-205 fills the tank.")
    fill(page, '["summary"]', "A fill pump that seals itself in.")
    kept(page, "Use this plant")
    kept(page, "Add a point")
    for route in held:
        route.continue_()
    expect(page.locator("#statement-preview")).to_contain_text("P-205 fills the tank.")


def test_a_refused_publication_keeps_the_reason(
    open_page: OpenPage, people: tuple[User, User], expected_errors: list[str]
) -> None:
    expected_errors.append("422 (Unprocessable")
    page = open_page("/authoring", people[0])
    page.get_by_label("Title").fill("My sump")
    page.get_by_label("Begin with").select_option("wash-sump")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_text("caught by the suite")).to_be_visible(timeout=240_000)
    reason = page.get_by_label("findings are open")
    reason.fill("Too short")
    page.get_by_role("button", name="Publish version 1").click()
    expect(page.locator("#notice")).to_contain_text("write in a sentence why")
    expect(page.locator("#notice")).to_be_in_viewport()
    expect(reason).to_have_value("Too short")
    reason.fill("Long enough to say why it is published.")
    # What is typed stays when the sheet comes back after a change of something else.
    fill(page, '["summary"]', "Another summary.")
    expect(page.get_by_text("caught by the suite")).to_be_visible(timeout=240_000)
    expect(reason).to_have_value("Long enough to say why it is published.")
    page.get_by_role("button", name="Publish version 1").click()
    expect(page.get_by_role("rowheader", name="1", exact=True)).to_be_visible()


SUMP_PROGRAM = """PROGRAM right_sump
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    sump_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
END_VAR

// [R1] [R2a] [R2b] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;

// [R3] The lamp.
lamp := sump_high;
END_PROGRAM
"""


def test_an_undemanded_output_is_demanded_and_another_left_free(
    open_page: OpenPage, people: tuple[User, User], tmp_path: Path
) -> None:
    """No check forbids that the lamp is lit, or that the pump starts by itself."""
    text = (
        (EXERCISES / "wash-sump" / "exercise.yaml").read_text().replace("wash-sump", "my-sump", 1)
    )
    archive = tmp_path / "sump.zip"
    archive.write_bytes(to_zip(Draft("my-sump", text, {"right-sump.st": SUMP_PROGRAM})))
    page = open_page("/authoring", people[0])
    page.get_by_label("Zip file").set_input_files(archive)
    page.get_by_role("button", name="Import").click()
    lamp = page.locator(".finding.undemanded").filter(has_text="lamp is on").first
    expect(lamp).to_be_visible(timeout=240_000)
    lamp.get_by_text("The run, step by step").click()
    expect(lamp.locator("ol li").filter(has_text="from here on")).to_have_count(1)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        assert_accessible(page)
    checks = page.locator(".check")
    count = checks.count()
    lamp.get_by_role("button", name="Demand it in R3").click()
    expect(checks).to_have_count(count + 1)
    # The exercise is checked anew; what is demanded now is no finding any more.
    pump = page.locator(".finding.undemanded").filter(has_text="fill_pump is on").first
    expect(pump).to_be_visible(timeout=240_000)
    expect(lamp).to_have_count(0)
    pump.get_by_role("button", name="Leave it free").click()
    expect(page.get_by_role("heading", name="Left to you")).to_be_visible()
