"""Exercises chosen from a platform for new links (Deep Linking 2.0), in a window or its frame."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.request import urlopen

import httpx2
import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.marking.files.exercise_file import load_exercise
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.database import Database
from server.store.lti import LtiChoice, LtiContext, LtiLink
from server.store.lti_choices import CHOICE_LASTS
from server.store.people import find_user
from server.web.access import COOKIE
from tests.factories import EXERCISES, Clock, make_assignment, make_user
from tests.web.conftest import SITE
from tests.web.lab import ClientFor
from tests.web.launches import BO, INGRID, WANJIRU, connect, launch, platform_of, sentence
from tests.web.lti_platform import CLAIM, COURSE, SETTINGS, Platform, Server

SUMP = load_exercise(EXERCISES / "wash-sump")


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock) -> Platform:
    return platform_of(lti_server, database, clock, SITE)


@pytest.fixture
def assignments(database: Database, platform: Platform) -> list[Assignment]:
    """Two exercises are set for the section of the platform's course."""
    first = connect(database, platform)
    with database.write() as session:
        section = session.get_one(Assignment, first.id).section
        return [first, make_assignment(session, section, title="Sugar day tank")]


@pytest.fixture
def client(client_for: ClientFor) -> TestClient:
    return client_for(None)


def choose(client: TestClient, **form: object) -> httpx2.Response:
    return client.post("/lti/choices/1", data=form)


def hand_over(platform: Platform, answer: httpx2.Response) -> None:
    """What the page does with its form."""
    assert f"form-action {platform.url};" in answer.headers["Content-Security-Policy"]
    token = answer.text.split('name="JWT" value="')[1].split('"')[0]
    assert httpx2.post(f"{platform.url}/return", data={"JWT": token}).status_code == 200


def test_an_exercise_is_chosen_from_the_platform(
    client: TestClient, platform: Platform, assignments: list[Assignment], database: Database
) -> None:
    answer = launch(client, platform, INGRID, None)
    assert answer.headers["location"] == "/lti/choices/1"
    page = client.get("/lti/choices/1").text
    assert "Sugar day tank" in page
    assert 'type="radio"' in page
    for wrong in ({}, {"assignment": "0"}, {"assignment": [each.id for each in assignments]}):
        assert choose(client, **wrong).status_code == 422
    hand_over(platform, choose(client, assignment=assignments[0].id))
    (item,) = platform.chosen
    assert item["lineItem"]["scoreMaximum"] == sum(each.weight for each in SUMP.requirements)
    assert item["window"] == {"targetName": f"rungmark-{assignments[0].id}"}
    assert item["available"] == {"startDateTime": "2026-10-04T12:00:00+00:00"}
    assert item["submission"]["endDateTime"] == "2026-10-09T12:00:00+00:00"
    # The new link leads there without anybody binding it.
    answer = launch(client, platform, WANJIRU, "chosen-1")
    assert answer.headers["location"] == f"/assignments/{assignments[0].id}"
    with database.read() as session:
        link = session.scalars(select(LtiLink).where(LtiLink.resource_link_id == "chosen-1")).one()
        assert link.line_item == f"{platform.url}/lineitems/1?course={COURSE}"


def test_several_links_are_made_at_once_where_the_platform_takes_them(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    targets = {"accept_presentation_document_targets": ["iframe"]}
    platform.choosing = {"accept_multiple": True, "accept_lineitem": False, **targets}
    launch(client, platform, INGRID, None)
    assert 'type="checkbox"' in client.get("/lti/choices/1").text
    hand_over(platform, choose(client, assignment=[each.id for each in assignments]))
    assert [item["title"] for item in platform.chosen] == ["Apple wash sump", "Sugar day tank"]
    assert not any("lineItem" in item or "window" in item for item in platform.chosen)
    for number, each in enumerate(assignments, 1):
        answer = launch(client, platform, WANJIRU, f"chosen-{number}")
        assert answer.headers["location"] == f"/assignments/{each.id}"


def test_a_choice_is_cancelled(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    launch(client, platform, INGRID, None)
    hand_over(platform, choose(client, cancel="true", assignment=assignments[0].id))
    assert platform.chosen == []
    assert platform.messages == ["Nothing was chosen.", ""]


def test_a_platform_that_takes_no_resource_links_is_told(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    platform.choosing = {"accept_types": ["file", "html"]}
    launch(client, platform, INGRID, None)
    assert "takes no LTI resource links here" in client.get("/lti/choices/1").text
    assert choose(client, assignment=assignments[0].id).status_code == 422
    hand_over(platform, choose(client, cancel="true"))
    assert platform.chosen == []
    assert "takes no LTI resource links here" in platform.messages[1]


def test_a_student_does_not_choose(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    answer = launch(client, platform, BO, None)
    assert "Only teaching staff of the course" in sentence(answer)


def test_a_request_for_a_choice_may_leave_out_the_roles(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    """Deep Linking 2.0, 4.4.9; then nobody knows whether they teach."""
    platform.bend = lambda claims: claims.pop(f"{CLAIM}roles")
    answer = launch(client, platform, INGRID, None)
    assert answer.status_code == 200
    assert "neither learner nor instructor" in sentence(answer)


def test_a_platform_that_wants_the_choice_elsewhere(
    client: TestClient, platform: Platform, assignments: list[Assignment]
) -> None:
    platform.choosing = {"deep_link_return_url": "https://elsewhere.example/take"}
    launch(client, platform, INGRID, None)
    answer = choose(client, assignment=assignments[0].id)
    assert answer.status_code == 422
    assert "elsewhere.example, a host that is not registered" in " ".join(answer.text.split())


BENT: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "no settings": (lambda c: c.pop(SETTINGS), "lacks its deep_linking_settings"),
    "no way back": (
        lambda c: c[SETTINGS].pop("deep_link_return_url"),
        "deep_linking_settings of the launch can't be read",
    ),
    "no types": (
        lambda c: c[SETTINGS].pop("accept_types"),
        "deep_linking_settings of the launch can't be read",
    ),
}


def test_a_request_for_a_choice_with_one_thing_missing_is_refused(
    client: TestClient, platform: Platform, assignments: list[Assignment], database: Database
) -> None:
    for name, (bend, expected) in BENT.items():
        platform.bend = bend
        answer = launch(client, platform, INGRID, None)
        assert answer.status_code == 400, name
        assert expected in sentence(answer), name
    with database.read() as session:
        assert session.scalars(select(LtiChoice)).all() == []


FRAME = {"Sec-Fetch-Dest": "iframe"}


def begin_in_frame(client: TestClient, platform: Platform) -> tuple[str, dict[str, str]]:
    """The state that the platform was asked to keep, and what it then posts to us."""
    begun = client.get("/lti/login", params=platform.initiation(INGRID, None), headers=FRAME)
    kept = dict(re.findall(r'data-(\w+)="([^"]*)"', begun.text))
    assert (kept["target"], kept["origin"]) == (platform.storage, platform.url)
    with urlopen(kept["onward"].replace("&amp;", "&")) as page:
        form = dict(re.findall(r'name="(\w+)" value="([^"]*)"', page.read().decode()))
    return kept["value"], form


def launch_in_frame(client: TestClient, platform: Platform) -> httpx2.Response:
    """As the two pages with scripts do it in a browser that refuses cookies."""
    state, form = begin_in_frame(client, platform)
    asked = client.post("/lti/launch", data=form, headers={"Origin": platform.url})
    if "data-ask-state" not in asked.text:
        return asked
    assert state not in asked.text, "only the platform's storage has it"
    answer = client.post("/lti/framed", data={"state": state})
    assert f"frame-ancestors {platform.url}" in answer.headers["Content-Security-Policy"]
    assert list(client.cookies.keys()) == []
    return answer


@pytest.fixture
def known(
    client_for: ClientFor, platform: Platform, assignments: list[Assignment]
) -> list[Assignment]:
    """The instructor has come from the platform before."""
    launch(client_for(None), platform, INGRID)
    platform.storage = "_parent"
    return assignments


def ticket_of(answer: httpx2.Response) -> dict[str, str]:
    return {"ticket": answer.text.split('name="ticket" value="')[1].split('"')[0]}


def test_a_choice_in_the_frame_of_the_platform(
    client: TestClient, platform: Platform, known: list[Assignment]
) -> None:
    answer = launch_in_frame(client, platform)
    form = {**ticket_of(answer), "assignment": str(known[1].id)}
    assert client.post("/lti/framed/choice", data={**form, "assignment": "0"}).status_code == 422
    handed = client.post("/lti/framed/choice", data=form)
    assert f"frame-ancestors {platform.url}" in handed.headers["Content-Security-Policy"]
    hand_over(platform, handed)
    assert [item["title"] for item in platform.chosen] == ["Sugar day tank"]
    # Nobody was signed in by it.
    assert COOKIE not in client.cookies
    assert client.get("/lti/choices/1").status_code == 303


def test_a_choice_in_a_frame_opens_with_its_ticket_only_and_for_who_teaches(
    client: TestClient,
    platform: Platform,
    known: list[Assignment],
    database: Database,
    clock: Clock,
) -> None:
    form = {**ticket_of(launch_in_frame(client, platform)), "assignment": str(known[0].id)}
    for wrong in (
        {"assignment": form["assignment"]},
        {**form, "ticket": ""},
        {**form, "ticket": "x"},
    ):
        answer = client.post("/lti/framed/choice", data=wrong)
        assert answer.status_code == 404
        assert "This choice has ended" in answer.text
    with database.write() as session:
        ingrid = find_user(session, INGRID.email)
        assert ingrid is not None
        enrolment = session.get_one(Enrolment, (known[0].section_id, ingrid.id))
        enrolment.role = SectionRole.STUDENT
    assert client.post("/lti/framed/choice", data=form).status_code == 404
    with database.write() as session:
        session.merge(enrolment).role = SectionRole.INSTRUCTOR
        session.merge(ingrid).disabled_at = clock()
    assert client.post("/lti/framed/choice", data=form).status_code == 404
    with database.write() as session:
        session.merge(ingrid).disabled_at = None
    assert client.post("/lti/framed/choice", data=form).status_code == 200
    clock.now += CHOICE_LASTS
    assert client.post("/lti/framed/choice", data=form).status_code == 404


def test_a_frame_comes_in_with_the_state_from_the_storage_only_and_once(
    client: TestClient, platform: Platform, known: list[Assignment], clock: Clock
) -> None:
    state, form = begin_in_frame(client, platform)
    # Before the platform has said who comes, and with another state.
    assert client.post("/lti/framed", data={"state": state}).status_code == 400
    client.post("/lti/launch", data=form)
    for wrong in ({}, {"state": ""}, {"state": "undefined"}):
        assert client.post("/lti/framed", data=wrong).status_code == 400
    another_site = {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "cross-site"}
    refused = client.post("/lti/framed", data={"state": state}, headers=another_site)
    assert refused.status_code == 403
    # A launch that a cookie keeps is not opened by the frame's door, nor the other way round.
    assert client.get("/lti/enter", params={"state": state}).status_code == 400
    assert client.post("/lti/framed", data={"state": state}).status_code == 200
    assert client.post("/lti/framed", data={"state": state}).status_code == 400
    state, form = begin_in_frame(client, platform)
    client.post("/lti/launch", data=form)
    clock.now += timedelta(minutes=10)
    assert client.post("/lti/framed", data={"state": state}).status_code == 400


def test_what_is_in_the_way_of_a_choice_is_told_in_the_frame(
    client: TestClient, platform: Platform, known: list[Assignment], database: Database
) -> None:
    """In the frame, so that it can be read there; with the way back to the platform."""

    def told() -> str:
        answer = launch_in_frame(client, platform)
        assert f"frame-ancestors {platform.url}" in answer.headers["Content-Security-Policy"]
        assert "lti_errormsg=" in answer.text
        return sentence(answer)

    platform.bend = lambda claims: claims.update(
        {
            "https://purl.imsglobal.org/spec/lti/claim/message_type": "LtiResourceLinkRequest",
            "https://purl.imsglobal.org/spec/lti/claim/resource_link": {"id": "sump"},
            "https://purl.imsglobal.org/spec/lti/claim/target_link_uri": platform.tool,
        }
    )
    assert "at the address for choosing new ones" in told()
    platform.bend = lambda claims: claims.update(email="other@larkmoor.example", sub="other")
    with database.write() as session:
        make_user(session).email = "other@larkmoor.example"
    assert "older than its connection with the LMS" in told()
    platform.bend = lambda claims: None
    with database.write() as session:
        session.scalars(select(LtiContext)).one().section_id = None
    assert "not connected with a section here yet" in told()


def test_in_a_frame_without_storage_there_is_only_a_way_out_of_it(
    client: TestClient, platform: Platform
) -> None:
    for storage, link in (("", None), ("_parent", "sump"), ("x" * 256, None)):
        platform.storage = storage
        initiation = platform.initiation(INGRID, link)
        answer = client.get("/lti/login", params=initiation, headers=FRAME)
        assert 'target="_blank"' in answer.text
        assert "data-keep-state" not in answer.text
