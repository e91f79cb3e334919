"""A student's desk for tests of the pages: an assignment, a client, and how to work on it."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from html import unescape
from time import sleep
from typing import Any

from httpx2 import Response
from starlette.testclient import TestClient

from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import make_assignment, make_section, make_user

ClientFor = Callable[[User | None], TestClient]
HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}

RIGHT = (
    "// [R1, R2a, R2b] The fill pump seals in.\n"
    "fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;",
    "// [R3] The lamp follows the switch.\nlamp := sump_high;",
)
"""Rungs that meet every requirement of the wash sump."""

OVERFILLS = (
    "// [R1, R2a] Without the level switch.\nfill_pump := (start_pb OR fill_pump) AND stop_pb;",
    RIGHT[1],
)
"""The same, but R2b is not met."""


@dataclass
class Desk:
    """One person at one assignment; ``revision`` is the one that their window shows."""

    client: TestClient
    assignment: Assignment
    revision: int = 0

    @property
    def address(self) -> str:
        return f"/assignments/{self.assignment.id}"

    def page(self) -> str:
        answer = self.client.get(self.address)
        assert answer.status_code == 200
        self.note(answer)
        return unescape(answer.text)

    def do(self, action: str, **fields: Any) -> Response:
        """One action, as editor.js sends it."""
        return self.send({"action": action, **fields})

    def send(self, action: object) -> Response:
        values = {"action": json.dumps(action), "revision": str(self.revision)}
        answer = self.client.post(f"{self.address}/program", data=values, headers=HTMX)
        self.note(answer)
        return answer

    def step(self, name: str) -> Response:
        values = {"revision": str(self.revision)}
        answer = self.client.post(f"{self.address}/program/{name}", data=values, headers=HTMX)
        self.note(answer)
        return answer

    def build(self, rungs: tuple[str, ...]) -> None:
        """Put these rungs in place of all others."""
        number = self.page().count('class="rung-row"')
        actions: list[object] = [{"action": "delete rung", "rung": 0}] * number
        actions.append({"action": "paste rungs", "at": 0, "text": "\n".join(rungs)})
        assert self.send({"action": "together", "actions": actions}).status_code == 200

    def submit(self) -> Response:
        values = {"revision": str(self.revision)}
        return self.client.post(f"{self.address}/submissions", data=values, headers=HTMX)

    def verdict(self, submitted: Response) -> str:
        """The page that a submission leads to, once it is marked."""
        assert submitted.status_code == 204, submitted.text
        address = submitted.headers["HX-Redirect"]
        # The first marking of a process may wait for the compiler.
        while "HX-Refresh" not in self.client.get(f"{address}/progress").headers:
            sleep(0.05)
        answer = self.client.get(address)
        assert answer.status_code == 200
        return unescape(answer.text)

    def note(self, answer: Response) -> None:
        shown = re.search(r'data-revision="(\d+)"', answer.text)
        if shown:
            self.revision = int(shown[1])


@dataclass
class Lab:
    """A section with two students and their instructor, and the wash sump set for it."""

    student: User
    classmate: User
    instructor: User
    assignment: Assignment
    client_for: ClientFor

    def desk(self, user: User) -> Desk:
        return Desk(self.client_for(user), self.assignment)


def open_lab(database: Database, client_for: ClientFor, **columns: object) -> Lab:
    with database.write() as session:
        student, classmate = make_user(session), make_user(session)
        instructor = make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session,
            (student, SectionRole.STUDENT),
            (classmate, SectionRole.STUDENT),
            (instructor, SectionRole.INSTRUCTOR),
        )
        assignment = make_assignment(session, section, **{"exercise": "wash-sump", **columns})
    return Lab(student, classmate, instructor, assignment, client_for)
