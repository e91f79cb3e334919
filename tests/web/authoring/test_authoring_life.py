"""Publishing, setting, changing and retiring an exercise, and what students see of it."""

from datetime import UTC, datetime, timedelta
from html import unescape
from time import sleep
from typing import Any

import pytest

from server.marking.files.document import read_document
from server.marking.files.drafts import Draft
from server.marking.files.exercise_zip import to_zip
from server.paths import EXERCISES
from server.store.authored import find_authored
from server.store.college import set_time_zone
from server.store.courses import Assignment, SectionRole, assignments_of, sections_of
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import NOON, make_section, make_user
from tests.web.authoring.test_authoring import Author
from tests.web.lab import OVERFILLS, ClientFor, Desk

REASON = "The class starts on Monday; more wrong programs follow."


@pytest.fixture
def people(database: Database) -> tuple[User, User]:
    with database.write() as session:
        teacher, student = make_user(session, Role.INSTRUCTOR), make_user(session)
        make_section(session, (teacher, SectionRole.INSTRUCTOR), (student, SectionRole.STUDENT))
        return teacher, student


@pytest.fixture
def author(client_for: ClientFor, people: tuple[User, User]) -> Author:
    return Author(client_for(people[0]), people[0], "My sump", source="wash-sump")


def looked_into(database: Database, author: Author) -> None:
    """Wait until the newest revision has been looked into."""
    author.page()
    while True:
        with database.read() as session:
            row = find_authored(session, author.id)
        assert row is not None
        author.revision = row.revision
        if row.findings_of == row.revision and row.findings.get("complete"):
            return
        sleep(0.05)


def publish(database: Database, author: Author, **fields: str) -> None:
    looked_into(database, author)
    values = {"revision": str(author.revision), "reason": REASON, **fields}
    answer = author.client.post(f"{author.address}/publish", data=values)
    assert answer.status_code == 303, answer.text
    with database.read() as session:
        row = find_authored(session, author.id)
        assert row is not None
        author.revision = row.revision


def set_for_section(database: Database, author: Author) -> Assignment:
    with database.read() as session:
        ((section, _),) = sections_of(session, author.user.id)
    values = {"section": str(section.id), "due": str((NOON + timedelta(days=7)).date())}
    assert author.client.post(f"{author.address}/set", data=values).status_code == 303
    with database.read() as session:
        (assignment,) = assignments_of(session, [section.id])
        return assignment


def test_open_findings_want_a_reason(database: Database, author: Author) -> None:
    looked_into(database, author)
    values = {"revision": str(author.revision), "reason": ""}
    answer = author.client.post(f"{author.address}/publish", data=values)
    assert answer.status_code == 422
    assert "findings are open" in unescape(answer.text)
    publish(database, author)
    assert REASON in author.client.get(f"{author.address}/life").text


def test_a_draft_can_not_be_set(database: Database, author: Author) -> None:
    values = {"section": "1", "due": "2027-01-01"}
    assert author.client.post(f"{author.address}/set", data=values).status_code == 409


def test_a_faulty_exercise_is_not_published(database: Database, author: Author) -> None:
    looked_into(database, author)
    author.do("set", "scan period", value="0 ms")
    values = {"revision": str(author.revision), "reason": REASON}
    answer = author.client.post(f"{author.address}/publish", data=values)
    assert answer.status_code == 422
    assert "faults" in answer.text


@pytest.fixture
def in_chicago(database: Database) -> None:
    with database.write() as session:
        assert set_time_zone(session, "America/Chicago")


@pytest.mark.usefixtures("in_chicago")
def test_a_retired_exercise_goes_on_where_it_is_set(
    database: Database, author: Author, people: tuple[User, User], client_for: ClientFor
) -> None:
    publish(database, author)
    assignment = set_for_section(database, author)
    assert assignment.due_at == datetime(2026, 10, 13, 4, 59, tzinfo=UTC)
    assert author.client.post(f"{author.address}/retire").status_code == 303
    assert Desk(client_for(people[1]), assignment).page()
    assert author.client.post(f"{author.address}/set", data={"section": "1", "due": "2027-01-01"})


@pytest.mark.parametrize("may_fall", [False, True])
def test_a_change_is_seen_before_it_is_applied_and_takes_nothing_away(
    database: Database,
    author: Author,
    people: tuple[User, User],
    client_for: ClientFor,
    may_fall: bool,
) -> None:
    # In the first version nothing is said of the level switch.
    with database.read() as session:
        row = find_authored(session, author.id)
        assert row is not None
        whole = row.text
    number = next(n for n in range(9) if requirement(whole, n)["id"] == "R2b")
    author.do("remove", "requirements", number)
    publish(database, author)
    assignment = set_for_section(database, author)
    desk = Desk(client_for(people[1]), assignment)
    desk.build(OVERFILLS)
    submitted = desk.submit()
    assert "5 of 5 points" in desk.verdict(submitted)

    # The second version has the requirement, and one point that this program had falls away.
    values = {"text": whole, "revision": str(author.revision)}
    author.client.post(f"{author.address}/text", data=values)
    author.revision += 1
    assert author.do("set", "requirements", 0, "weight", value="1").status_code == 200
    looked_into(database, author)
    values = {"revision": str(author.revision), "reason": REASON}
    assert author.client.post(f"{author.address}/publish", data=values).status_code == 409
    assert author.client.post(f"{author.address}/compare").status_code == 303
    while "1 of 1 marked again" not in author.client.get(f"{author.address}/life").text:
        sleep(0.05)
    shown = unescape(author.client.get(f"{author.address}/life").text)
    assert "1 verdict would change" in shown
    assert '5 of 5</td><td class="number">100\u202f%' in shown
    assert '4 of 5</td><td class="number">80\u202f%' in shown
    assert "R2b" in shown
    publish(database, author, **({"may_fall": "true"} if may_fall else {}))
    address = submitted.headers["HX-Redirect"]
    told = f"{4 if may_fall else 5} of 5 points; before, it was 5 of 5."
    assert told in unescape(desk.client.get("/").text)
    assert told not in unescape(author.client.get("/").text)
    # Who teaches may look; the note stays until the student has.
    assert author.client.get(address).status_code == 200
    assert told in unescape(desk.client.get("/").text)
    after = unescape(desk.client.get(address).text)
    assert "gave 5 of 5 points; it stays on record" in after
    kept = "5 of 5 points count, where this version gives 4" in after
    assert kept is not may_fall
    assert told not in unescape(desk.client.get("/").text)


def test_a_conveyor_from_files_until_a_student_solves_it(
    database: Database, people: tuple[User, User], client_for: ClientFor
) -> None:
    shipped = EXERCISES / "crate-infeed"
    program = (shipped / "programs" / "right-reset-last.st").read_text()
    text = (shipped / "exercise.yaml").read_text().replace("crate-infeed", "my-infeed", 1)
    # The suite's own look at its variants is another test; this one has a program to copy.
    packed = to_zip(Draft("my-infeed", text, {"right-reset-last.st": program}))
    client = client_for(people[0])
    answer = client.post("/authoring/import", files={"archive": ("infeed.zip", packed)})
    assert answer.status_code == 303, answer.text
    author = Author.at(client, people[0], answer.headers["location"])
    publish(database, author)
    assignment = set_for_section(database, author)
    desk = Desk(client_for(people[1]), assignment)
    rungs = program[program.index("// [R1]") : program.index("END_PROGRAM")].strip()
    desk.build((rungs,))
    page = desk.verdict(desk.submit())
    assert 'class="status not-met"' not in page
    assert 'class="status not-exercised"' not in page
    assert page.count('class="status met"') >= 5


def requirement(text: str, number: int) -> dict[str, Any]:
    found: list[dict[str, Any]] = read_document("exercise.yaml", text.encode()).data["requirements"]
    return found[number] if number < len(found) else {"id": ""}
