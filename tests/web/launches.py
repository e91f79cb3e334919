"""Launches in tests: what a browser does between the platform and us."""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from html import unescape
from urllib.parse import urlsplit
from urllib.request import urlopen

import httpx2
from joserfc.jwk import RSAKey
from sqlalchemy import select

from server.remote.own_keys import published
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.lti import Deployment, LtiContext, LtiLink, ToolKey
from server.store.lti import Platform as Registered
from server.store.people import User
from tests.factories import NOON, make_assignment, make_section
from tests.web.lti_platform import COURSE, INSTRUCTOR, Person, Platform, Server

WANJIRU = Person("s-17", "Wanjiru Kamande", email="wanjiru@larkmoor.example")
BO = Person("s-18", "Bo Li", email="bo@larkmoor.example")
INGRID = Person("t-1", "Ingrid Sollberg", (INSTRUCTOR,), "ingrid@larkmoor.example")


@cache
def platform_key(number: int = 0) -> RSAKey:
    """Keys are slow to make."""
    return RSAKey.generate_key(2048, {"use": "sig", "alg": "RS256"}, auto_kid=True)


@cache
def tool_key() -> RSAKey:
    return RSAKey.generate_key(2048, {"use": "sig", "alg": "RS256"}, auto_kid=True)


def platform_of(
    server: Server,
    database: Database,
    clock: Callable[[], datetime],
    site: str,
    host: str = "127.0.0.1",
) -> Platform:
    """A platform with a course and a link, registered here; its clock is ours."""

    def tool_keys() -> object:
        with database.read() as session:
            return published(session, "", clock())

    platform = Platform(
        clock, f"{site}/lti/launch", tool_keys, host, keys=[platform_key()], port=server.port
    )
    platform.people = {each.subject: each for each in (INGRID, WANJIRU, BO)}
    platform.add_link("sump", "Apple wash sump")
    server.platform = platform
    register(database, platform)
    return platform


def register(database: Database, platform: Platform) -> int:
    """As the administrator's page does."""
    with database.write() as session:
        registered = Registered(
            name="Larkmoor course server",
            issuer=platform.url,
            client_id=platform.client_id,
            login_url=f"{platform.url}/auth",
            token_url=f"{platform.url}/token",
            keys_url=f"{platform.url}/keys",
        )
        session.add(registered)
        session.flush()
        session.add(Deployment(platform_id=registered.id, deployment_id=platform.deployment_id))
        key = tool_key()
        session.merge(
            ToolKey(kid=str(key.kid), private_key=dict(key.as_dict(private=True)), made_at=NOON)
        )
        return registered.id


def connect(database: Database, platform: Platform, teacher: User | None = None) -> Assignment:
    """The platform's course is connected with a section, its link with an assignment there."""
    with database.write() as session:
        section = make_section(session, *([(teacher, SectionRole.INSTRUCTOR)] if teacher else []))
        now = platform.clock()
        assignment = make_assignment(
            session,
            section,
            exercise="wash-sump",
            opens_at=now - timedelta(days=1),
            due_at=now + timedelta(days=4),
        )
        context = LtiContext(
            platform_id=session.scalars(select(Registered.id)).one(),
            deployment_id=platform.deployment_id,
            context_id=COURSE,
            title="Control logic",
            section_id=section.id,
        )
        session.add(context)
        session.flush()
        session.add(
            LtiLink(context_id=context.id, resource_link_id="sump", assignment_id=assignment.id)
        )
    return assignment


def posted(
    client: httpx2.Client, platform: Platform, person: Person, link: str | None
) -> dict[str, str]:
    """What the platform has the browser post to us."""
    begun = client.get("/lti/login", params=platform.initiation(person, link))
    assert begun.status_code == 302, begun.text
    assert urlsplit(begun.headers["location"]).path == "/auth"
    with urlopen(begun.headers["location"]) as page:
        form = page.read().decode()
    return dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))


def post(client: httpx2.Client, platform: Platform, form: dict[str, str]) -> httpx2.Response:
    """Post it, as another site's page does, and go where we are sent first."""
    answer = client.post("/lti/launch", data=form, headers={"Origin": platform.url})
    if answer.status_code == 303:
        answer = client.get(answer.headers["location"])
    return answer


def launch(
    client: httpx2.Client, platform: Platform, person: Person, link: str | None = "sump"
) -> httpx2.Response:
    """The answer that says where the browser is led, or why not."""
    return post(client, platform, posted(client, platform, person, link))


def sentence(answer: httpx2.Response) -> str:
    """What an error page says."""
    found = re.search(r'<p class="lead">(.*?)</p>', answer.text, re.DOTALL)
    assert found, answer.text
    return " ".join(unescape(found[1]).split())
