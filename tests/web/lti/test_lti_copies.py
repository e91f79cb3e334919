"""Links of a course that was copied in the LMS lead to the same exercises of the new section.

Context.id.history and ResourceLink.id.history: LTI Core 1.3, appendix B (from memory).
"""

from typing import Any

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from server.remote.launch import read_launch
from server.store.courses import Assignment
from server.store.database import Database
from server.store.lti import LtiContext, LtiLink
from server.store.lti import Platform as Registered
from tests.factories import Clock, make_assignment, make_section
from tests.web.conftest import SITE
from tests.web.lab import ClientFor
from tests.web.launches import WANJIRU, connect, launch, platform_of, sentence
from tests.web.lti_platform import CLAIM, COURSE, Platform, Server

COPY = "aut-131-spring"


@pytest.fixture
def platform(lti_server: Server, database: Database, clock: Clock) -> Platform:
    """Its launches come from a copy of the course, through a copy of its link."""
    platform = platform_of(lti_server, database, clock, SITE)
    platform.add_link("copied", "Apple wash sump")
    come_from(platform, {"context_history": f"other,{COURSE}", "link_history": "never%2Cused,sump"})
    return platform


def come_from(platform: Platform, custom: dict[str, Any]) -> None:
    platform.bend = lambda claims: claims.update(
        {f"{CLAIM}context": {"id": COPY, "title": "Spring"}, f"{CLAIM}custom": custom}
    )


@pytest.fixture
def original(database: Database, platform: Platform) -> Assignment:
    return connect(database, platform)


@pytest.fixture
def copy(database: Database, platform: Platform, original: Assignment) -> Assignment:
    """The copied course has a section of its own, where the same exercise is set, and another."""
    with database.write() as session:
        section = make_section(session)
        make_assignment(session, section, exercise="day-tank")
        assignment = make_assignment(session, section, exercise="wash-sump")
        session.scalars(select(LtiLink)).one().by_requirement = True
        session.add(
            LtiContext(
                platform_id=session.scalars(select(Registered.id)).one(),
                deployment_id=platform.deployment_id,
                context_id=COPY,
                title="Spring",
                section_id=section.id,
            )
        )
    return assignment


@pytest.fixture
def client(client_for: ClientFor) -> TestClient:
    return client_for(None)


def test_a_copied_link_is_bound_by_its_history(
    client: TestClient, platform: Platform, copy: Assignment, database: Database
) -> None:
    answer = launch(client, platform, WANJIRU, "copied")
    assert answer.headers["location"] == f"/assignments/{copy.id}"
    with database.read() as session:
        link = session.scalars(select(LtiLink).where(LtiLink.resource_link_id == "copied")).one()
        assert link.by_requirement


def test_a_copied_link_is_bound_by_what_was_chosen_for_it(
    client: TestClient, platform: Platform, copy: Assignment, original: Assignment
) -> None:
    come_from(
        platform, {"assignment": str(original.id), "link_history": "$ResourceLink.id.history"}
    )
    answer = launch(client, platform, WANJIRU, "copied")
    assert answer.headers["location"] == f"/assignments/{copy.id}"


@pytest.mark.parametrize(
    "custom",
    [
        {},
        {"link_history": "$ResourceLink.id.history", "context_history": "$Context.id.history"},
        {"link_history": "sump", "context_history": "another-course"},
        {"link_history": "unknown"},
        {"link_history": ["sump"]},
        {"assignment": "999"},
    ],
)
def test_a_link_without_a_history_that_is_known_waits_for_its_instructor(
    client: TestClient, platform: Platform, copy: Assignment, custom: dict[str, Any]
) -> None:
    come_from(platform, custom)
    answer = launch(client, platform, WANJIRU, "copied")
    assert "does not lead to an exercise yet" in sentence(answer)


def test_a_copied_link_leads_nowhere_until_the_exercise_is_set(
    client: TestClient, platform: Platform, copy: Assignment, database: Database
) -> None:
    with database.write() as session:
        session.get_one(Assignment, copy.id).exercise = "case-lift"
    assert "does not lead to an exercise yet" in sentence(
        launch(client, platform, WANJIRU, "copied")
    )
    with database.write() as session:
        session.get_one(Assignment, copy.id).exercise = "wash-sump"
    answer = launch(client, platform, WANJIRU, "copied")
    assert answer.headers["location"] == f"/assignments/{copy.id}"


def test_histories_are_read(platform: Platform) -> None:
    platform.bend = lambda claims: None
    claims = platform._claims(WANJIRU, "sump", "n")
    claims[f"{CLAIM}custom"] = {"context_history": " a%2Cb , c,,", "link_history": 7}
    read = read_launch(claims, platform.tool)
    assert (read.context_history, read.link_history) == (("a,b", "c"), ())
