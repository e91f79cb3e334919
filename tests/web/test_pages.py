"""Home, gradebook and error pages: what stands on them, and that each template loads."""

import csv
import io
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.marking.verdict import Status
from server.paths import STATIC, TEMPLATES
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from server.web.rendering import environment, markdown, points
from tests.factories import (
    NOON,
    Clock,
    make_assignment,
    make_marked,
    make_section,
    make_submission,
    make_user,
)

ClientFor = Callable[[User | None], TestClient]
MARKUP = "<img src=x onerror=alert(1)>"


@pytest.fixture
def people(database: Database) -> tuple[User, User, Assignment]:
    """A student with markup for a name, their instructor, their assignment."""
    with database.write() as session:
        student = make_user(session, name=MARKUP)
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        return student, teacher, make_assignment(session, section)


def test_a_student_sees_what_is_set_and_how_it_stands(
    client_for: ClientFor,
    database: Database,
    clock: Clock,
    people: tuple[User, User, Assignment],
) -> None:
    student, _, assignment = people
    client = client_for(student)
    assert ">open</span>" in client.get("/").text
    clock.now = NOON + timedelta(days=8)
    assert "missing" in client_for(student).get("/").text
    with database.write() as session:
        make_submission(session, assignment, student, 1)
    assert "being marked" in client_for(student).get("/").text
    with database.write() as session:
        late = NOON + timedelta(days=8)
        make_marked(session, assignment, student, 2, late, R1=Status.MET, R2=Status.NOT_MET)
    page = client_for(student).get("/").text
    assert "1 of 2 points" in page
    assert "late" in page
    assert f'href="/assignments/{assignment.id}"' in page


def test_an_exercise_that_is_not_open_has_no_link(
    client_for: ClientFor, clock: Clock, people: tuple[User, User, Assignment]
) -> None:
    student, teacher, assignment = people
    clock.now = NOON - timedelta(days=2)
    page = client_for(student).get("/").text
    assert assignment.title in page
    assert f'href="/assignments/{assignment.id}"' not in page
    assert f'href="/assignments/{assignment.id}"' in client_for(teacher).get("/").text


def test_empty_pages_say_what_will_be_there(client_for: ClientFor, database: Database) -> None:
    with database.write() as session:
        alone = make_user(session)
        teacher = make_user(session, Role.INSTRUCTOR)
        assignment = make_assignment(
            session, make_section(session, (teacher, SectionRole.INSTRUCTOR))
        )
        head = make_user(session, Role.DEPARTMENT)
    assert "Your sections will be listed here." in client_for(alone).get("/").text
    gradebook = client_for(teacher).get(f"/assignments/{assignment.id}/gradebook").text
    assert "One row per student will be here." in gradebook
    assert "Every section of the college" in client_for(head).get("/").text


def test_the_gradebook_has_a_column_per_requirement(
    client_for: ClientFor, database: Database, people: tuple[User, User, Assignment]
) -> None:
    student, teacher, assignment = people
    with database.write() as session:
        submission = make_marked(
            session,
            assignment,
            student,
            R1=Status.MET,
            R2a=Status.NOT_MET,
            R2b=Status.NOT_EXERCISED,
        )
    page = client_for(teacher).get(f"/assignments/{assignment.id}/gradebook").text
    for requirement in ("R1", "R2a", "R2b"):
        assert f'<th scope="col" class="requirement-no">{requirement}</th>' in page
    for status in Status:
        assert f"</span>{status.word}</span>" in page
    assert f'href="/submissions/{submission.id}"' in page
    assert MARKUP not in page
    answer = client_for(teacher).get(f"/assignments/{assignment.id}/gradebook.csv")
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    assert answer.content.startswith("\ufeff".encode())
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    assert rows[0][-3:] == ["R1", "R2a", "R2b"]
    assert rows[1][-3:] == ["met", "not met", "not exercised"]


def test_an_error_answers_htmx_with_a_notice(client_for: ClientFor) -> None:
    client = client_for(None)
    headers = {"HX-Request": "true", "HX-Request-Type": "partial"}
    answer = client.get("/nothing-here", headers=headers)
    assert answer.status_code == 404
    assert answer.headers["hx-retarget"] == "#notice"
    assert "<html" not in answer.text
    answer = client.get("/", headers=headers)
    assert answer.status_code == 401
    assert "You are signed out, so nothing was stored." in answer.text


def test_a_method_that_an_address_does_not_take(client_for: ClientFor) -> None:
    answer = client_for(None).put("/sign-in")
    assert answer.status_code == 405
    assert "This address does not take that kind of request." in answer.text


def test_a_database_that_went_away_is_told(app: FastAPI, client_for: ClientFor) -> None:
    client = client_for(None)
    app.state.database = Database("sqlite:////nowhere/rungmark.db")
    answer = client.post("/sign-in", data={"email": "a@b.example", "password": "x"})
    assert answer.status_code == 503
    assert "The database does not answer, so this is probably not stored." in answer.text
    assert "nowhere" not in answer.text


@pytest.mark.parametrize("number", [2**31, 2**63, 10**30])
def test_a_number_that_no_column_holds(
    database: Database, client_for: ClientFor, number: int
) -> None:
    with database.write() as session:
        administrator = make_user(session, Role.ADMINISTRATOR)
        section = make_section(session)
    client = client_for(administrator)
    answer = client.get(f"/reports/{section.course_id}/work?term={number}")
    assert answer.status_code == (200 if number < 2**63 else 422)
    left = client.post(f"/sections/{section.id}/roster/leave", data={"person": str(number)})
    assert left.status_code in (303, 404, 422)


@pytest.mark.parametrize("template", environment.list_templates(extensions=["html"]))
def test_each_template_loads(template: str) -> None:
    environment.get_template(template)


def files_of_pages() -> list[Path]:
    return [*TEMPLATES.rglob("*.html"), *STATIC.glob("*.css"), *STATIC.glob("*.js")]


@pytest.mark.parametrize("file", files_of_pages(), ids=lambda file: file.name)
def test_pages_name_no_other_host(file: Path) -> None:
    content = file.read_text().replace("http://www.w3.org/2000/svg", "")
    assert "http://" not in content
    assert "https://" not in content


@pytest.mark.parametrize("file", sorted(TEMPLATES.rglob("*.html")), ids=lambda file: file.name)
def test_templates_have_no_inline_script_or_style(file: Path) -> None:
    """The content security policy would silently drop them."""
    content = file.read_text()
    assert "<style" not in content
    assert " style=" not in content
    assert " on" not in {piece[:3] for piece in content.split('="')}
    assert "hx-on" not in content
    assert "<script>" not in content


def test_markup_in_an_exercise_is_shown_and_not_obeyed() -> None:
    html = markdown(f"*Fill* the sump. {MARKUP} [a](javascript:alert(1)) ![b](https://c.example)")
    assert html.startswith("<p><em>Fill</em> the sump. &lt;img")
    assert 'href="javascript' not in html
    assert "<img" not in html


@pytest.mark.parametrize(
    ("number", "shown"), [(4.0, "4"), (3.5, "3.5"), (2 / 3, "0.67"), (10.0, "10"), (0.0, "0")]
)
def test_points_have_no_needless_zeros(number: float, shown: str) -> None:
    assert points(number) == shown
