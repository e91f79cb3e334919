"""From a learning-management system on another site into the lab, and the grade back."""

import json
from typing import Any
from urllib.parse import quote, urlencode
from urllib.request import urlopen

import pytest
from joserfc.jwk import OctKey
from playwright.sync_api import expect
from sqlalchemy import select

from server.marking.verdict import Status
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.lti import LtiContext, LtiPerson
from server.store.lti import Platform as Registered
from server.store.lti_outbox import queue_scores
from server.store.people import Role, User, find_user
from tests.browser.conftest import LOOKS, WIDTHS, OpenPage, assert_accessible
from tests.factories import NOON, Clock, make_assignment, make_marked, make_section, make_user
from tests.web.launches import INGRID, WANJIRU, platform_key, platform_of
from tests.web.lti_platform import COURSE, Platform, Server
from tests.web.strict_platform import CAPITAL, STUDENT, TEACHER, StrictPlatform


@pytest.fixture
def expected_errors() -> list[str]:
    # The platform's pages have no icon; a form and a launch are refused on purpose.
    return ["404 (Not Found)", "422 (Unprocessable", "401 (Unauthorized"]


def tool_keys_of(site: str) -> Any:
    with urlopen(f"{site}/lti/keys") as answer:
        return json.load(answer)


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock, site: str) -> Platform:
    """Our site is 127.0.0.1; localhost is another one, so cookies are those of a real launch."""
    platform = platform_of(lti_server, database, clock, site, "localhost")
    platform.tool_keys = lambda: tool_keys_of(site)
    return platform


@pytest.fixture
def lab(database: Database, platform: Platform) -> tuple[User, Assignment]:
    """An instructor who has come from the platform before, and an exercise set."""
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR, name=INGRID.name)
        session.add(LtiPerson(platform_id=1, subject=INGRID.subject, user_id=teacher.id))
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        return teacher, make_assignment(session, section, exercise="wash-sump")


@pytest.mark.parametrize("width", WIDTHS)
def test_from_the_course_to_the_grade(
    width: int,
    open_page: OpenPage,
    database: Database,
    platform: Platform,
    lab: tuple[User, Assignment],
) -> None:
    page = open_page(f"{platform.url}/course/{INGRID.subject}", width=width)
    page.get_by_role("button", name="Apple wash sump").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Section of Control logic, fall")
    assert_accessible(page)
    page.get_by_role("button", name="Connect").click()
    expect(page.get_by_label("Exercise")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Save link").click()
    expect(page.get_by_role("heading", name="Grades in the LMS")).to_be_visible()

    # A student, whose course page shows the tool in a frame.
    student = open_page(f"{platform.url}/framed/{WANJIRU.subject}/sump", width=width)
    frame = student.frame_locator("iframe")
    with student.expect_popup() as opened:
        frame.get_by_role("link", name="Open the lab sheet").click()
    sheet = opened.value
    expect(sheet.get_by_role("heading", level=1)).to_have_text("Apple wash sump")
    expect(sheet.get_by_role("definition").filter(has_text=WANJIRU.name)).to_be_visible()

    with database.write() as session:
        user = find_user(session, WANJIRU.email)
        assert user is not None
        assignment = session.get_one(Assignment, lab[1].id)
        make_marked(session, assignment, user, R1=Status.MET, R2=Status.NOT_MET)
        queue_scores(session, assignment, [user.id], NOON)
    page.reload()
    while not page.get_by_text("1 sent.").is_visible():
        page.wait_for_timeout(500)
        page.reload()
    assert_accessible(page)
    assert platform.columns[0].scores[WANJIRU.subject]["scoreGiven"] == 1.0


def test_links_are_chosen_in_a_window(
    open_page: OpenPage, platform: Platform, lab: tuple[User, Assignment]
) -> None:
    platform.links = {"choose": {"title": "Choose", "custom": {}}}
    page = open_page(f"{platform.url}/course/{INGRID.subject}")
    page.get_by_role("button", name="Choose").click()
    page.get_by_role("button", name="Connect").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Choose an exercise")
    assert_accessible(page)
    page.get_by_role("button", name="Add link").click()
    expect(page.get_by_role("heading", name="Links made: 1")).to_be_visible()
    assert platform.chosen[0]["custom"]["assignment"] == str(lab[1].id)


def test_links_are_chosen_inside_the_frame_of_the_platform(
    open_page: OpenPage, database: Database, platform: Platform, lab: tuple[User, Assignment]
) -> None:
    """Two sites: the browser sends the frame no cookie of ours, so the platform keeps the state."""
    platform.storage = "_parent"
    with database.write() as session:
        session.add(
            LtiContext(
                platform_id=1,
                deployment_id=platform.deployment_id,
                context_id=COURSE,
                title="Control logic",
                section_id=lab[1].section_id,
            )
        )
    page = open_page(f"{platform.url}/framed/{INGRID.subject}/choose", width=400)
    frame = page.frame_locator("iframe")
    frame.get_by_role("radio", name="Apple wash sump").press("Space")
    frame.get_by_role("button", name="Cancel").click()
    expect(frame.get_by_role("heading", name="Links made: 0")).to_be_visible()
    platform.choosing = {"accept_multiple": True}
    page.goto(page.url)
    frame.get_by_role("checkbox", name="Apple wash sump").check()
    frame.get_by_role("button", name="Add links").click()
    expect(frame.get_by_role("heading", name="Links made: 1")).to_be_visible()
    assert page.context.cookies(platform.tool) == [], "nobody is signed in by it"


def test_a_platform_of_another_kind_from_registration_to_grades(
    open_page: OpenPage, database: Database, clock: Clock, lti_server: Server, site: str
) -> None:
    """Grades reach both of its students, though one never comes."""
    platform = StrictPlatform(
        clock, f"{site}/lti/launch", lambda: tool_keys_of(site), "localhost", port=lti_server.port
    )
    platform.keys = [platform_key()]
    platform.people = {each.subject: each for each in (TEACHER, STUDENT, CAPITAL)}
    platform.links = {"choose": {"title": "Choose", "custom": {}}}
    lti_server.platform = platform
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        teacher = make_user(session, Role.INSTRUCTOR, name=TEACHER.name)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        assignment = make_assignment(session, section, exercise="wash-sump")

    page = open_page("/platforms", administrator)
    page.get_by_label("Name of the LMS, as people here know it").fill("Strict LMS")
    page.get_by_label("Its host, or several separated by spaces").fill(f"localhost:{platform.port}")
    page.get_by_role("button", name="Make an address").click()
    assert_accessible(page)
    address = page.get_by_role("status").locator("code").inner_text()
    page.goto(f"{platform.url}/install?{urlencode({'address': address})}")
    page.frame_locator("iframe").get_by_role("button", name="Register").click()
    expect(page.get_by_role("heading", name="Installed")).to_be_visible()
    with database.write() as session:
        registered = session.scalars(select(Registered)).one()
        assert registered.token_audience == platform.audience
        known = LtiPerson(platform_id=registered.id, subject=TEACHER.subject, user_id=teacher.id)
        session.add(known)

    # The course is connected in a window, the link chosen in the frame.
    person = quote(TEACHER.subject, safe="")
    page.goto(f"{platform.url}/course/{person}")
    page.get_by_role("button", name="Choose").click()
    page.get_by_role("button", name="Connect", exact=True).click()
    expect(page.get_by_role("heading", name="Choose exercises")).to_be_visible()
    page.goto(f"{platform.url}/framed/{person}/choose")
    frame = page.frame_locator("iframe").last
    frame.get_by_role("checkbox", name="Apple wash sump").check()
    frame.get_by_role("button", name="Add links").click()
    expect(frame.get_by_role("heading", name="Links made: 1")).to_be_visible()

    page.goto(f"{site}/sections/{section.id}/roster")
    page.get_by_role("button", name="Ask Strict LMS who is in the course").click()
    page.get_by_role("button", name="Save roster").click()
    expect(page.get_by_text("Kamande")).to_be_visible()

    opened_by_student = f"{platform.url}/framed/{quote(STUDENT.subject, safe='')}/chosen-1"
    platform.shared_secret = OctKey.generate_key(256)
    student = open_page(opened_by_student)
    with student.expect_popup() as refused:
        student.frame_locator("iframe").last.get_by_role("link", name="Open the lab sheet").click()
    expect(refused.value.get_by_text("not signed with RS256")).to_be_visible()
    refused.value.close()
    platform.shared_secret = None
    student.goto(opened_by_student)
    with student.expect_popup() as opened:
        student.frame_locator("iframe").last.get_by_role("link", name="Open the lab sheet").click()
    expect(opened.value.get_by_role("heading", level=1)).to_have_text("Apple wash sump")

    with database.write() as session:
        here = session.get_one(Assignment, assignment.id)
        for person_there, points in ((STUDENT, Status.MET), (CAPITAL, Status.NOT_MET)):
            user = find_user(session, person_there.email)
            assert user is not None
            make_marked(session, here, user, R1=points, R2=Status.MET)
            queue_scores(session, here, [user.id], NOON)
    page.goto(f"{site}/assignments/{assignment.id}/gradebook")
    while not page.get_by_text("2 sent.").is_visible():
        page.wait_for_timeout(500)
        page.reload()
    scores = platform.columns[0].scores
    given = {subject: score["scoreGiven"] for subject, score in scores.items()}
    assert given == {STUDENT.subject: 2.0, CAPITAL.subject: 1.0}
    assert scores[CAPITAL.subject]["comment"] == "Attempt 1: 1 of 2 requirements met."


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_the_administrator_registers_a_system(
    width: int, theme: str, open_page: OpenPage, database: Database
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    page = open_page("/", administrator, width=width, theme=theme)
    page.get_by_role("link", name="Learning-management systems").click()
    for label, text in (
        ("Name, as people here know it", "Larkmoor course server"),
        ("Issuer (iss)", "https://lms.larkmoor.example"),
        ("Client id", "rungmark-1"),
        ("Deployment ids, a line each", "1\n2"),
        ("Login address (OpenID Connect authentication request)", "https://lms.larkmoor.example/a"),
        ("Token address", "http://lms.larkmoor.example/t"),
        ("Key set address", "https://lms.larkmoor.example/k"),
    ):
        page.get_by_label(label).fill(text)
    page.get_by_role("button", name="Register it").click()
    expect(page.get_by_role("alert")).to_have_text(
        "The token address is not an https address. Correct it."
    )
    expect(page.get_by_label("Client id")).to_have_value("rungmark-1")
    page.get_by_label("Token address").fill("https://lms.larkmoor.example/t")
    page.get_by_role("button", name="Register it").click()
    page.get_by_text("Larkmoor course server").click()
    assert_accessible(page)
    page.get_by_role("button", name="Make a new key").click()
    expect(page.get_by_text("published, signs next")).to_be_visible()
    page.get_by_role("button", name="Make a new key").click()
    expect(page.get_by_role("alert")).to_contain_text("Wait until it signs.")
    assert_accessible(page)
