"""A wrong program that a cut-down suite passes, and what the search shows of it in the browser."""

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML

from server.ladder.json_form import to_json
from server.marking.acceptance import acceptance_run
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.verdict import Status
from server.paths import EXERCISES as SHIPPED
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import Role
from server.store.programs import save_program
from tests.browser.conftest import OpenPage, assert_accessible
from tests.factories import Clock, make_assignment, make_section, make_user

SLUG = "apple-wash-sump"


@pytest.fixture
def exercises_folder(tmp_path: Path) -> Path:
    """The shipped exercise with its open scenarios only."""
    folder = tmp_path / SLUG
    shutil.copytree(SHIPPED / SLUG, folder)
    file = folder / "exercise.yaml"
    yaml = YAML()
    document = yaml.load(file)
    document["scenarios"] = [s for s in document["scenarios"] if s.get("open")]
    yaml.dump(document, file)
    return tmp_path


def test_a_program_that_the_cut_suite_passes_is_caught_by_the_search(
    database: Database, clock: Clock, open_page: OpenPage, exercises_folder: Path
) -> None:
    exercise = load_exercise(exercises_folder / SLUG)
    wrong = read_program(exercises_folder / SLUG / "programs" / "wrong-start-wins.st", exercise)
    tried = {r.id: r.status for r in acceptance_run(exercise, wrong).requirements}
    assert tried["R2"] is Status.MET, "the cut suite does not catch it"
    with database.write() as session:
        student = make_user(session)
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        assignment = make_assignment(session, section, exercise=SLUG)
        save_program(
            session, assignment, student.id, to_json(wrong), revision=0, start={}, now=clock()
        )
    page = open_page(f"/assignments/{assignment.id}", student)
    page.get_by_role("button", name="Submit the program").click()
    expect(page.locator("#R2")).to_contain_text("not met", timeout=60_000)
    page = open_page(page.url, teacher)
    row = page.locator("#R2")
    expect(row).to_contain_text(re.compile("the exhaustive search|a random run"))
    row.get_by_text("What was done in it").click()
    expect(row.get_by_text("fill_pb on").first).to_be_visible()
    expect(row.locator("svg").first).to_be_visible()
    assert_accessible(page)
