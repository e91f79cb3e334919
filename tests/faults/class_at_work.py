"""A class that hands in over real connections, and what the database then holds of it."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import httpx2
from sqlalchemy import select

from server.ladder.actions import edit
from server.ladder.actions.copies import PasteRungs
from server.ladder.json_form import to_json
from server.marking.files.catalogue import start_program
from server.marking.files.exercise_file import load_exercise
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import SectionRole
from server.store.database import Database, Document
from server.store.programs import save_program
from server.web.access import COOKIE
from tests.factories import EXERCISES, make_assignment, make_section, make_user, sign_in
from tests.web.lab import RIGHT


def right_program() -> Document:
    begun = start_program(load_exercise(EXERCISES / "wash-sump"))
    return to_json(edit(begun, PasteRungs(0, "\n".join(RIGHT))).program)


AT_ONCE = 4


@dataclass(frozen=True)
class Student:
    """Who is signed in and has a program that is ready to be handed in."""

    user_id: int
    assignment_id: int
    token: str

    def client(self, address: str) -> httpx2.Client:
        headers = {"Origin": address, "Cookie": f"{COOKIE}={self.token}"}
        return httpx2.Client(base_url=address, headers=headers, timeout=60)

    def hand_in(self, address: str) -> httpx2.Response:
        with self.client(address) as client:
            path = f"/assignments/{self.assignment_id}/submissions"
            return client.post(path, data={"revision": "1"})


def make_class(database: Database, size: int) -> list[Student]:
    now = datetime.now(UTC)
    program = right_program()
    with database.write() as session:
        people = [make_user(session) for _ in range(size)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in people))
        opens, due = now - timedelta(days=1), now + timedelta(days=1)
        assignment = make_assignment(
            session, section, exercise="wash-sump", opens_at=opens, due_at=due
        )
        for each in people:
            save_program(session, assignment, each.id, program, revision=0, start={}, now=now)
        tokens = [sign_in(session, each, now) for each in people]
    return [
        Student(each.id, assignment.id, token) for each, token in zip(people, tokens, strict=True)
    ]


@dataclass
class Answers:
    """What the class has been told so far: ids of what was accepted, and all the rest."""

    accepted: list[int] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


@contextmanager
def handing_in(students: list[Student], *addresses: str) -> Iterator[Answers]:
    """All of them hand in, some at once; leaving the block waits until each has an answer."""
    answers = Answers()

    def one(number: int) -> None:
        try:
            answer = students[number].hand_in(addresses[number % len(addresses)])
        except httpx2.HTTPError as lost:
            answers.refused.append(type(lost).__name__)
            return
        if answer.status_code == 303:
            answers.accepted.append(int(answer.headers["location"].rpartition("/")[2]))
        else:
            answers.refused.append(answer.text)

    with ThreadPoolExecutor(AT_ONCE) as threads:
        asked = [threads.submit(one, number) for number in range(len(students))]
        yield answers
    for each in asked:
        each.result()


def submissions(database: Database) -> list[int]:
    with database.read() as session:
        return sorted(session.scalars(select(Submission.id)))


def verdicts(database: Database) -> list[int]:
    with database.read() as session:
        return sorted(session.scalars(select(StoredVerdict.submission_id)))
