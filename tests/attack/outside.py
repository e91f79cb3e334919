"""Attacks through other servers: key hosts that hang, and identities that move to other people."""

import os
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import monotonic, sleep
from unittest.mock import patch
from urllib.parse import parse_qs, urlsplit

import httpx2
from joserfc import jwt
from sqlalchemy import select

from server.store.courses import SectionRole, role_in_section
from server.store.database import Database
from server.store.lti import LtiContext
from server.store.lti import Platform as Registered
from server.store.migration import migrate
from server.store.people import Role, User, find_user
from server.web.access import COOKIE
from server.web.errands import THREADS
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import make_user
from tests.faults.processes import PATIENCE, serving
from tests.web.launches import connect, platform_key, platform_of, posted
from tests.web.lti_platform import INSTRUCTOR, LEARNER, Person, Platform, Server
from tests.web.openid_provider import CLIENT, SECRET, Provider

LAUNCHES = 40


def now() -> datetime:
    return datetime.now(UTC)


def hang(target: Target) -> Outcome:
    """Launch again and again from a platform whose key host takes connections and says nothing."""
    with socket.create_server(("127.0.0.1", 0), backlog=LAUNCHES) as silent:
        host = f"http://127.0.0.1:{silent.getsockname()[1]}"
        with target.database.write() as session:
            session.add(
                Registered(
                    name="Silent",
                    issuer=host,
                    client_id="rungmark",
                    login_url=f"{host}/auth",
                    token_url=f"{host}/token",
                    keys_url=f"{host}/keys",
                )
            )
        key = platform_key()
        token = jwt.encode({"alg": "RS256", "kid": str(key.kid)}, {"sub": "s-1"}, key)
        with (
            httpx2.Client(base_url=target.url, timeout=PATIENCE) as browser,
            ThreadPoolExecutor(LAUNCHES) as crowd,
        ):

            def launch() -> int:
                hints = {"iss": host, "login_hint": "s-1"}
                begun = browser.get(
                    "/lti/login", params={**hints, "target_link_uri": f"{target.url}/lti/launch"}
                )
                state = parse_qs(urlsplit(begun.headers["location"]).query)["state"][0]
                form = {"state": state, "id_token": token}
                return browser.post("/lti/launch", data=form).status_code

            calm = page_seconds(browser)
            under_way = [crowd.submit(launch) for _ in range(LAUNCHES)]
            held = [silent.accept()[0] for _ in range(THREADS)]
            waiting = page_seconds(browser)
            answers = {each.result() for each in under_way}
            for each in held:
                each.close()
    return Outcome(
        "launches that wait for a silent key host",
        LAUNCHES,
        f"a page took {waiting:.2f} s, {calm:.2f} s before; every launch was told ({answers})",
        waiting < 3 * calm + 0.1 and answers == {502},
    )


def page_seconds(browser: httpx2.Client) -> float:
    """The median time of a page."""
    times = []
    for _ in range(25):
        begun = monotonic()
        assert browser.get("/sign-in").status_code == 200
        times.append(monotonic() - begun)
        sleep(0.1)
    return median(times)


@contextmanager
def course(target: Target) -> Iterator[Platform]:
    """A platform whose course is connected with a section of this server."""
    server = Server()
    server.start()
    try:
        platform = platform_of(server, target.database, now, target.url)
        connect(target.database, platform)
        yield platform
    finally:
        server.stop()


def comes_in(target: Target, platform: Platform, person: Person) -> bool:
    """Whether a launch signs this person in, in a browser of their own."""
    platform.people[person.subject] = person
    with httpx2.Client(base_url=target.url, timeout=PATIENCE) as browser:
        form = posted(browser, platform, person, "sump")
        answer = browser.post("/lti/launch", data=form, headers={"Origin": platform.url})
        browser.get(answer.headers["location"])
        return COOKIE in browser.cookies


def lms_identities(target: Target) -> Outcome:
    """Come from an LMS with the addresses of other people, and with a role that was taken away."""
    with course(target) as platform:
        with target.database.write() as session:
            people = [make_user(session), make_user(session, Role.ADMINISTRATOR)]
        teacher = Person("t-9", "Ana Ruiz", (INSTRUCTOR,), "ana@larkmoor.example")
        taught = comes_in(target, platform, teacher)
        with target.database.read() as session:
            ana = find_user(session, teacher.email)
            assert ana is not None
        moved = [
            comes_in(target, platform, Person(f"x-{number}", "Whoever", roles, address))
            for number, (roles, address) in enumerate(
                (roles, address)
                for roles in ((LEARNER,), (INSTRUCTOR,))
                for address in (teacher.email, *(person.email for person in people))
            )
        ]
        demoted = Person("t-9", "Ana Ruiz", (LEARNER,), teacher.email)
        stayed = comes_in(target, platform, demoted)
        with target.database.read() as session:
            section_id = session.scalars(select(LtiContext.section_id)).one()
            assert section_id is not None
            role = role_in_section(session, ana.id, section_id)
    return Outcome(
        "launches with other people's addresses, and one as learner by a former instructor",
        len(moved) + 1,
        f"{sum(moved)} accounts of others opened; the instructor is now {role}",
        taught and stayed and not any(moved) and role is SectionRole.STUDENT,
    )


def openid_identities(target: Target) -> Outcome:
    """Sign in by the college's provider as somebody who has got another person's address."""
    folder = target.folder / "openid"
    folder.mkdir()
    with closing(Database(f"sqlite:///{folder}/rungmark.db")) as database:
        migrate(database)
        with database.write() as session:
            student = make_user(session)
            invited = make_user(session, Role.ADMINISTRATOR)
            invited.password_hash = None
            administrator = make_user(session, Role.ADMINISTRATOR)
        return _move_addresses(database, folder, (student, invited), administrator)


def _move_addresses(
    database: Database, folder: Path, known: tuple[User, ...], administrator: User
) -> Outcome:
    provider = Provider(now, "")
    names = {"ISSUER": provider.url, "CLIENT_ID": CLIENT, "CLIENT_SECRET": SECRET}
    setting = {f"RUNGMARK_OPENID_{name}": value for name, value in names.items()}
    try:
        with patch.dict(os.environ, setting), serving(database, folder) as (_, url):
            provider.back = f"{url}/sign-in/openid/back"

            def opened(subject: str, user: User) -> bool:
                provider.subject, provider.email = subject, user.email
                with httpx2.Client(base_url=url, timeout=PATIENCE) as browser:
                    begun = browser.get("/sign-in/openid")
                    browser.get(provider.signed_in(begun.headers["location"]))
                    return COOKIE in browser.cookies

            first = [opened(f"own-{user.id}", user) for user in known]
            moved = [opened(f"other-{user.id}", user) for user in known]
            # Never connected before, but there is a password that only its owner knows.
            moved.append(opened("other", administrator))
            again = [opened(f"own-{user.id}", administrator) for user in known]
    finally:
        provider.stop()
    return Outcome(
        "sign-ins at the provider with addresses that belonged to others",
        len(moved),
        f"{sum(moved)} accounts opened; {sum(again)} of {len(known)} owners still come in",
        all(first) and all(again) and not any(moved),
    )


ATTACKS = (
    Attack("a key host that hangs", hang, on_postgresql=True),
    Attack("an identity from an LMS that moves", lms_identities, on_postgresql=True),
    Attack("an address at the sign-in provider that moves", openid_identities),
)
