"""Markup in every text of an exercise, and in what people write, is text on every page."""

from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from server.marking.files.drafts import Draft
from server.marking.files.exercise_zip import to_zip
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import make_section, make_user
from tests.marking.marked_exercise import CONVEYOR, SCHEMA, TANK, marked, marker
from tests.web.authoring.test_authoring import Author
from tests.web.authoring.test_authoring_life import publish, set_for_section
from tests.web.lab import ClientFor, Desk

SLUGS = {TANK: "small-tank", CONVEYOR: "small-line"}
RUNGS = {
    TANK: f"// [R1] {marker(1001)}\nfill_pump := start_pb;",
    CONVEYOR: f"// [R1] {marker(1001)}\nbelt := NOT start_pb;",
}


class Live(HTMLParser):
    """What of a page would do something: elements and attributes that no page of ours has."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        source = dict(attrs).get("src") or ""
        if tag in ("img", "iframe", "object") or (tag == "script" and source[:8] != "/static/"):
            self.found.append(tag)
        self.found += [name for name, _ in attrs if name.startswith("on") or name == "style"]


def inert(client: TestClient, address: str) -> str:
    """The page at an address, once nothing in it is found to do anything."""
    answer = client.get(address)
    assert answer.status_code == 200, (address, answer.text)
    assert Live(answer.text).found == [], address
    return answer.text


@pytest.fixture
def people(database: Database) -> tuple[User, User]:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR, name=f"Ingrid {marker(1002)}")
        student = make_user(session, name=f"Elif {marker(1003)}")
        make_section(session, (teacher, SectionRole.INSTRUCTOR), (student, SectionRole.STUDENT))
        return teacher, student


def test_the_parser_would_find_it() -> None:
    assert Live(f"<p>{marker(1)}</p>").found == ["img", "onerror"]
    assert Live("<p>&lt;img src=x onerror=alert(1)&gt;</p>").found == []


def test_every_part_of_the_schema_is_marked() -> None:
    met = marked(TANK).parts | marked(CONVEYOR).parts
    whole = {name for name, rule in SCHEMA["$defs"].items() if "properties" in rule}
    assert whole <= met, "Give an exercise of marked_exercise.py the new part."
    assert {path[-1] for path in marked(TANK).places} >= {"title", "statement", "label", "fails"}


@pytest.mark.parametrize("base", SLUGS, ids=SLUGS.values())
def test_a_faulty_draft_shows_its_markup_as_text(
    people: tuple[User, User], client_for: ClientFor, base: str
) -> None:
    client = client_for(people[0])
    author = Author(client, people[0], SLUGS[base])
    for revision, text in enumerate(marked(base).faulty, 1):
        values = {"text": text, "revision": str(revision)}
        assert client.post(f"{author.address}/text", data=values).status_code == 200
        for address in (author.address, f"{author.address}/text"):
            assert "&lt;img src=x onerror=alert(" in inert(client, address)


def pages_of_author(address: str) -> Iterator[str]:
    yield from ("/authoring", f"{address}/life", f"{address}/findings", f"{address}/text", address)


@pytest.mark.parametrize("base", SLUGS, ids=SLUGS.values())
def test_a_published_exercise_shows_its_markup_as_text(
    database: Database, people: tuple[User, User], client_for: ClientFor, base: str
) -> None:
    slug, (teacher, student) = SLUGS[base], people
    packed = to_zip(Draft(slug, marked(base).whole, {}))
    client = client_for(teacher)
    begun = client.post("/authoring/import", files={"archive": ("marked.zip", packed)})
    author = Author.at(client, teacher, begun.headers["location"])
    publish(database, author, reason=f"Why: {marker(1004)}")
    for address in pages_of_author(author.address):
        inert(client, address)
    assignment = set_for_section(database, author)
    desk = Desk(client_for(student), assignment)
    desk.page()
    desk.build((RUNGS[base],))
    verdict = desk.submit()
    assert "not met" in desk.verdict(verdict)
    here, section = desk.address, f"/sections/{assignment.section_id}"
    submission = verdict.headers["HX-Redirect"]
    comment = {"rung": "1", "text": marker(1005)}
    assert client.post(f"{submission}/comments", data=comment).status_code == 303
    own = ("/", here, f"{here}/print", submission, f"{section}/standing")
    for address in own:
        shown = inert(desk.client, address)
        assert "&lt;img src=x onerror=alert(" in shown, address
    for address in (
        "/",
        submission,
        f"{submission}/print",
        f"{submission}/diagnosis",
        f"{submission}/places",
        here,
        f"{here}/trials/{student.id}",
        f"{here}/gradebook",
        f"{here}/students/{student.id}",
        f"{here}/likeness",
        f"{section}/gradebook",
        f"{section}/lab",
        f"{section}/assignments",
        f"{section}/roster",
        f"{section}/log",
        f"{section}/students/{student.id}",
    ):
        inert(client, address)
