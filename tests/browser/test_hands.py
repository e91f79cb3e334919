"""Ten rungs with branches, a timer, a counter and comments: by keys, by pointer, by finger."""

import pytest
from playwright.sync_api import Page, expect

from server.ladder.json_form import from_json
from server.ladder.program import Program
from server.ladder.text_form import print_rung
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.programs import working_copy
from tests.browser.conftest import OpenPage
from tests.browser.hands import LINES, Finger, Keyboard, Pointer, printed
from tests.factories import make_assignment, make_section, make_user

KEYS_A_MINUTE = 200
"""Forty words a minute: a modest typist. Common practice, no source."""


@pytest.fixture
def work(database: Database) -> tuple[User, Assignment]:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        return student, make_assignment(session, section, exercise="wash-sump")


def sheet(open_page: OpenPage, work: tuple[User, Assignment], touch: bool = False) -> Page:
    student, assignment = work
    page = open_page(f"/assignments/{assignment.id}", student, touch=touch)
    expect(page.locator("html.editing")).to_be_attached()
    return page


def built(database: Database, work: tuple[User, Assignment]) -> Program:
    student, assignment = work
    with database.read() as session:
        return from_json(working_copy(session, assignment, student.id, {}).program)


def check(program: Program) -> None:
    """The text form of what was built is the expected one, with everything declared."""
    assert [print_rung(rung) for rung in program.rungs] == [printed(line) for line in LINES]
    declared = {variable.symbol: variable.type for variable in program.variables}
    assert declared["delay_1"] == "TON"
    assert declared["count_1"] == "CTU"
    assert {declared[bit] for bit in ("calm", "held", "ended", "many", "idle", "look")} == {"BOOL"}


def test_by_the_keyboard_alone_in_under_three_minutes(
    open_page: OpenPage, database: Database, work: tuple[User, Assignment]
) -> None:
    """The keys are counted from the button that adds the first rung."""
    page = sheet(open_page, work)
    page.get_by_role("button", name="Add a rung").focus()
    hand = Keyboard(page)
    hand.build()
    check(built(database, work))
    print(f"{hand.keys} keys: {hand.keys / KEYS_A_MINUTE:.1f} min at {KEYS_A_MINUTE} keys a minute")
    assert hand.keys < 3 * KEYS_A_MINUTE


def test_by_the_pointer_alone(
    open_page: OpenPage, database: Database, work: tuple[User, Assignment]
) -> None:
    Pointer(sheet(open_page, work)).build()
    check(built(database, work))


def test_by_a_finger_alone(
    open_page: OpenPage, database: Database, work: tuple[User, Assignment]
) -> None:
    Finger(sheet(open_page, work, touch=True)).build()
    check(built(database, work))
