"""Attacks on accounts: becoming somebody else, or more than one is."""

import csv
import io
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from time import monotonic

from httpx2 import Client
from sqlalchemy.orm import Session

from server.marking.verdict import Status
from server.store import roster
from server.store.assignment_policy import pair_up
from server.store.authored import begin, publish
from server.store.courses import Section, SectionRole, students_of
from server.store.join_codes import new_join_code
from server.store.people import Role, User
from server.store.standings import CountingAttempt
from tests.attack.attack import Attack, Outcome, Target
from tests.factories import (
    EXERCISES,
    NOON,
    PASSWORD,
    make_assignment,
    make_marked,
    make_section,
    make_user,
)

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


def join(client: Client, code: str, email: str) -> bool:
    form = {"code": code, "name": "Ada Quint", "email": email, "password": PASSWORD}
    return client.post("/join", data=form).status_code == 303


def _open_section(target: Target) -> tuple[User, Section, str]:
    """A section with its instructor and a join code."""
    with target.database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        return teacher, section, new_join_code(session, section)


def shut_the_door(target: Target) -> Outcome:
    """Somebody guesses codes from the address from which a class joins."""
    _, section, code = _open_section(target)
    guesses = 0

    def comes(number: int) -> bool:
        with browser(target) as client:
            return join(client, code, f"student{number}@larkmoor.example")

    began = monotonic()
    with browser(target) as guesser, ThreadPoolExecutor(8) as pool:
        coming = [pool.submit(comes, number) for number in range(40)]
        while not all(each.done() for each in coming):
            guesses += 1
            guesser.post("/join", data={"code": f"WRONG-{guesses}"})
        came = sum(each.result() for each in coming)
    seconds = monotonic() - began
    with target.database.read() as session:
        accounts = len(students_of(session, section.id))
    return Outcome(
        f"wrong codes from the address from which a class of 40 joins, {guesses} meanwhile",
        40,
        f"{came} came in within {seconds:.0f} s, {accounts} accounts",
        came == accounts == 40 and seconds < 60,
    )


def borrow_an_address(target: Target) -> Outcome:
    """Somebody joins under a grader's address and waits to be given the grader's rights."""
    teacher, section, code = _open_section(target)
    with target.database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
    email, address = "ta@larkmoor.example", f"/sections/{section.id}/roster"
    gains: list[str] = []
    with (
        browser(target) as squatter,
        browser(target, teacher) as client,
        browser(target, administrator) as head,
    ):
        join(squatter, code, email)
        sign_in(squatter, email, PASSWORD)
        client.post(f"{address}/person", data={"email": email, "role": "grader"})
        text = f"Email,Name,Role\n{email},Ada Quint,grader\n"
        client.post(address, data={"text": text})
        if squatter.get(f"/sections/{section.id}/gradebook").status_code == 200:
            gains.append("became a grader")
        form = {"name": "Ida Quint", "email": email, "role": "instructor"}
        if head.post("/people", data=form).status_code != 200:
            gains.append("kept the owner out")
        if squatter.get("/").status_code == 200 or sign_in(squatter, email, PASSWORD):
            gains.append("kept the owner's account")
    came = ", ".join(gains) or "no grader, and signed out when the owner was added"
    return Outcome("an account joined under a grader's address", 3, came, not gains)


def rule_a_section(target: Target) -> Outcome:
    """An instructor leaves a section without one, and renames somebody else's student."""
    teacher, section, _ = _open_section(target)
    with target.database.write() as session:
        student = make_user(session)
        make_section(session, (student, SectionRole.STUDENT))
    address, broken = f"/sections/{section.id}/roster", 0
    with browser(target, teacher) as client:
        client.post(address, data={"text": f"Email,Name\n{student.email},{student.name}\n"})
        client.post(address, data={"text": f"Email,Name\n{student.email},Rude Name\n"})
        for role in ("grader", "student"):
            client.post(f"{address}/person", data={"email": teacher.email, "role": role})
            broken += client.get(address).status_code != 200
        client.post(f"{address}/leave", data={"person": str(teacher.id)})
        broken += client.get(address).status_code != 200
    with target.database.read() as session:
        renamed = session.get_one(User, student.id).name != student.name
    return Outcome(
        "the last instructor's role given away, a student of another section renamed",
        4,
        f"{broken} times without an instructor, {'renamed' if renamed else 'not renamed'}",
        not broken and not renamed,
    )


def erase_others(target: Target) -> Outcome:
    """Erase an author, one of a pair and an only instructor; open every page of the section."""
    teacher, section, _ = _open_section(target)
    text = (EXERCISES / "wash-sump" / "exercise.yaml").read_text()
    with target.database.write() as session:
        administrator, author = (
            make_user(session, role) for role in (Role.ADMINISTRATOR, Role.INSTRUCTOR)
        )
        one, other = (make_user(session) for _ in range(2))
        for student in (one, other):
            roster.enrol(session, section, student, SectionRole.STUDENT)
        work = []
        for slug in ("their-sump", "old-sump"):
            theirs = text.replace("wash-sump", slug)
            exercise = begin(session, author.id, slug, "Their sump", theirs, {}, NOON)
            assert exercise is not None
            publish(session, exercise, 2, NOON, reason="", open_findings=0)
            work.append(make_assignment(session, section, exercise=slug, in_pairs=True))
        pair_up(session, work[0], one.id, other.id, by_id=teacher.id, now=NOON)
        submission = make_marked(session, work[0], one, R1=Status.MET)
    with browser(target, administrator) as head:
        erased = [
            head.post(f"/people/{who.id}/erase", data={"email": who.email}).status_code == 303
            for who in (author, one, teacher)
        ]
    broken = []
    with browser(target, teacher) as client, browser(target, other) as partner:
        pages = [f"/sections/{section.id}/{page}" for page in ("roster", "gradebook", "lab", "log")]
        for each in work:
            at_it = f"/assignments/{each.id}"
            pages += [at_it, f"{at_it}/gradebook", f"{at_it}/settings", f"{at_it}/likeness"]
        broken += [page for page in pages if client.get(page).status_code != 200]
        pages = ["/", *(f"/assignments/{each.id}" for each in work)]
        pages += [f"/sections/{section.id}/standing", f"/submissions/{submission.id}"]
        broken += [page for page in pages if partner.get(page).status_code != 200]
    with target.database.read() as session:
        standing = session.get(CountingAttempt, (work[0].id, other.id))
        kept = standing is not None and standing.points == 1
    return Outcome(
        "an author with two set exercises, one of a pair and the only instructor erased",
        3,
        f"{sum(erased)} erased, partner's points {'kept' if kept else 'lost'}, "
        f"{len(broken)} pages broken",
        erased == [True, True, False] and kept and not broken,
    )


ATTACKS = (
    Attack("an instructor becomes somebody else by password links", take_over_by_roster, True),
    Attack("an instructor keeps a link until the account is worth more", keep_a_link),
    Attack("a guesser shuts the join page for a class", shut_the_door, True),
    Attack("somebody joins under another's address", borrow_an_address),
    Attack("an instructor leaves the last role and renames", rule_a_section),
    Attack("erasing a person takes the work of others along", erase_others, True),
)
