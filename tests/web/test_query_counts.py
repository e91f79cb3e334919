"""Statements that whole pages send to the database: these many at most, however much they show.

Where an exercise is asked for that an instructor wrote, its newest version is looked up besides.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, event

from server.marking.verdict import Status
from server.paths import EXERCISES
from server.store.courses import SectionRole, Term
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import NOON, make_assignment, make_marked, make_section, make_user
from tests.web.lab import ClientFor

# By page: whose it is, its address, and its statements with those that say who is there.
PAGES = {
    "a student's home": ("student", "/", 12),
    "a student's standing": ("student", "/sections/{section}/standing", 11),
    "an instructor's home": ("teacher", "/", 12),
    "gradebook of a section": ("teacher", "/sections/{section}/gradebook", 13),
    "gradebook of an assignment": ("teacher", "/assignments/{assignment}/gradebook", 12),
    "lab hour": ("teacher", "/sections/{section}/lab", 12),
    "programs compared": ("teacher", "/assignments/{assignment}/likeness", 15),
    "roster": ("teacher", "/sections/{section}/roster", 8),
    "settings": ("teacher", "/assignments/{assignment}/settings", 8),
    "log of grades": ("teacher", "/sections/{section}/log", 6),
    "all sections": ("head", "/", 6),
    "report": ("head", "/reports/{course}", 11),
    "submissions of a figure": ("head", "/reports/{course}/work?requirement=R1", 9),
    "people": ("administrator", "/people", 8),
}

PROGRAM = {"version": 1, "name": "p"}
SHIPPED = ("apple-wash-sump", "crate-infeed", "case-lift", "bottle-line")


@pytest.fixture
def exercises() -> Path:
    return EXERCISES


def fill(
    database: Database, sections: int, students: int, assignments: int
) -> tuple[dict[str, User], dict[str, int]]:
    """One course over two terms, in each section so many students and assignments."""
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        people = {
            "teacher": teacher,
            "head": make_user(session, Role.DEPARTMENT),
            "administrator": make_user(session, Role.ADMINISTRATOR),
        }
        ids: dict[str, int] = {}
        for number in range(sections):
            own = [make_user(session) for _ in range(students)]
            section = make_section(
                session,
                (teacher, SectionRole.INSTRUCTOR),
                *((each, SectionRole.STUDENT) for each in own),
            )
            if number:
                section.course_id = ids["course"]
            else:
                section.term = Term(
                    name=f"Before {section.id}",
                    begins=(NOON - timedelta(days=300)).date(),
                    ends=(NOON - timedelta(days=200)).date(),
                )
            session.flush()
            for place in range(assignments):
                exercise = SHIPPED[place]
                assignment = make_assignment(session, section, exercise=exercise, in_pairs=True)
                for n, student in enumerate(own):
                    for attempt in (1, 2):
                        status = Status.MET if (n + place) % 2 else Status.NOT_MET
                        at = NOON - timedelta(minutes=30 - attempt)
                        submission = make_marked(
                            session, assignment, student, attempt, at, R1=status, R2=Status.MET
                        )
                        submission.program = PROGRAM
                ids["assignment"] = assignment.id
            ids |= {"section": section.id, "course": section.course_id}
            people["student"] = own[0]
        return people, ids


@contextmanager
def statements() -> Iterator[list[str]]:
    found: list[str] = []

    def note(_c: object, _cur: object, statement: str, *_: object) -> None:
        found.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield found
    finally:
        event.remove(Engine, "before_cursor_execute", note)


@pytest.fixture
def counts(client_for: ClientFor, database: Database) -> list[dict[str, int]]:
    found = []
    for size in ((2, 3, 2), (3, 9, 4)):
        people, ids = fill(database, *size)
        own = {}
        for page, (who, address, _) in PAGES.items():
            client = client_for(people[who])
            path = address.format(**ids)
            # The first look is written into the log of grades, the second is not.
            assert client.get(path).status_code == 200, page
            with statements() as sent:
                client.get(path)
            own[page] = len(sent)
        found.append(own)
    return found


def test_a_page_sends_as_many_statements_however_much_it_shows(
    counts: list[dict[str, int]],
) -> None:
    few, many = counts
    assert few == many
    stated = {page: number for page, (_, _, number) in PAGES.items()}
    assert {page: many[page] for page in stated if many[page] > stated[page]} == {}
