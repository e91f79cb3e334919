"""Attacks on accounts: becoming somebody else, or more than one is."""

import csv
import io
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

from httpx2 import Client
from sqlalchemy.orm import Session

from server.store import roster
from server.store.courses import SectionRole
from server.store.people import Role, User
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import PASSWORD, make_section, make_user

NEW_PASSWORD = "quince-press-9"


@contextmanager
def browser(target: Target, user: User | None = None) -> Iterator[Client]:
    """A browser at the server, signed in with a password as a user, or not."""
    headers = {"Origin": target.url}
    with Client(base_url=target.url, headers=headers, timeout=60) as client:
        if user is not None:
            assert sign_in(client, user.email, PASSWORD), "a victim could not sign in"
        yield client


def sign_in(client: Client, email: str, password: str) -> bool:
    form = {"email": email, "password": password}
    return client.post("/sign-in", data=form).status_code == 303


def first_links(client: Client, section_id: int) -> dict[str, str]:
    """The secrets of the links that a roster gives out, by email."""
    answer = client.post(f"/sections/{section_id}/roster/links")
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))[1:]
    return {email: link.split("link=")[1] for _, email, link in rows}


def _without_password(role: Role) -> Callable[[Session], User]:
    def make(session: Session) -> User:
        user = make_user(session, role)
        user.password_hash = None
        return user

    return make


def _grader_elsewhere(session: Session) -> User:
    user = _without_password(Role.STUDENT)(session)
    roster.enrol(session, make_section(session), user, SectionRole.GRADER)
    return user


def take_over_by_roster(target: Target) -> Outcome:
    """An instructor puts accounts without a password on the roster and asks for their links."""
    makers = [*(_without_password(role) for role in Role), _grader_elsewhere]
    with target.database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        victims = [make(session) for make in makers]
    opened = []
    with browser(target, teacher) as client, browser(target) as thief:
        address = f"/sections/{section.id}/roster"
        for text in (
            "Email,Name\n" + "".join(f"{each.email},X\n" for each in victims),
            "Email,Name,Role\n" + "".join(f"{each.email},X,grader\n" for each in victims),
        ):
            client.post(address, data={"text": text})
            for victim in victims:
                client.post(f"{address}/person", data={"email": victim.email, "role": "student"})
            for email, secret in first_links(client, section.id).items():
                thief.post("/password", data={"link": secret, "password": NEW_PASSWORD})
                opened += [email] if sign_in(thief, email, NEW_PASSWORD) else []
    return Outcome(
        "administrators, staff and graders without a password put on a roster, links asked for",
        2 * len(victims),
        f"{len(opened)} accounts opened",
        not opened,
    )


def keep_a_link(target: Target) -> Outcome:
    """An instructor makes a student's link, and uses it once the account grades elsewhere."""
    with ExitStack() as stack:
        with target.database.write() as session:
            teacher = make_user(session, Role.INSTRUCTOR)
            section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        client, thief = (
            stack.enter_context(browser(target, teacher)),
            stack.enter_context(browser(target)),
        )
        text = "Email,Name\nta@larkmoor.example,Ada Quint\n"
        client.post(f"/sections/{section.id}/roster", data={"text": text})
        ((email, secret),) = first_links(client, section.id).items()
        with target.database.write() as session:
            user = session.query(User).filter_by(email=email).one()
            roster.enrol(session, make_section(session), user, SectionRole.GRADER)
        thief.post("/password", data={"link": secret, "password": NEW_PASSWORD})
        opened = sign_in(thief, email, NEW_PASSWORD)
    came = "the account was opened" if opened else "the link was dead"
    return Outcome("a roster's link kept until its account grades elsewhere", 1, came, not opened)


ATTACKS = (
    Attack("an instructor becomes somebody else by password links", take_over_by_roster, True),
    Attack("an instructor keeps a link until the account is worth more", keep_a_link),
)
