"""Each student's own numbers on every page of an exercise, and nobody else's."""

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from server.jobs.regrader import RegradeProgress, changed_verdicts
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue
from server.store.assignment_policy import pair_up
from server.store.courses import seed_of
from server.store.database import Database
from server.store.regrades import marked_submissions
from tests.factories import NOON
from tests.marking.drawn_exercise import RUNG, SLUG, write
from tests.web.lab import ClientFor, Desk, Lab, open_lab

MIDDLE = "2.25 s"


@pytest.fixture
def exercises(tmp_path: Path) -> Path:
    write(tmp_path, {})
    return tmp_path


@pytest.fixture
def lab(database: Database, client_for: ClientFor) -> Lab:
    return open_lab(database, client_for, exercise=SLUG, title="Late lamp", in_pairs=True)


def delay(page: str) -> str:
    """The delay that a page of the exercise speaks of, everywhere the same."""
    found = set(re.findall(r"pressed for ([0-9.]+ s)", page))
    assert len(found) == 1, found
    assert "&lt;delay" not in page
    assert "<delay" not in page
    return str(found.pop())


def solve(desk: Desk, of: str) -> str:
    desk.page()
    desk.do("declare", variable={"symbol": "timed", "type": "TON"})
    desk.build((RUNG.format(delay=of.replace(" ", "")),))
    return desk.verdict(desk.submit())


def test_neighbours_have_other_numbers_and_the_same_marking(lab: Lab) -> None:
    mine, theirs = lab.desk(lab.student), lab.desk(lab.classmate)
    own, other = delay(mine.page()), delay(theirs.page())
    assert own != other
    assert other not in mine.page()
    assert delay(lab.desk(lab.instructor).page()) == MIDDLE
    # The right program for one's own numbers meets everything; that of the neighbour does not.
    page = solve(theirs, own)
    assert 'class="status not-met"' in page
    assert delay(page) == other
    assert own not in re.sub(r"T#\S+", "", page)
    page = solve(mine, own)
    assert "Every requirement is met." in page
    assert delay(page) == own


def test_who_teaches_sees_a_submission_with_the_student_s_numbers(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    own = delay(desk.page())
    solve(desk, MIDDLE if own != MIDDLE else "1 s")
    teacher = lab.client_for(lab.instructor)
    submission = teacher.get("/submissions/1").text
    assert delay(submission) == own
    assert f"delay {own}" in submission
    assert teacher.get("/submissions/1/diagnosis").status_code == 200
    watched = teacher.get(f"/assignments/{lab.assignment.id}/trials/{lab.student.id}")
    assert watched.status_code == 200


def test_two_who_work_together_have_the_same_numbers(database: Database, lab: Lab) -> None:
    before = [delay(lab.desk(user).page()) for user in (lab.student, lab.classmate)]
    assert before[0] != before[1]
    with database.write() as session:
        pair_up(
            session,
            lab.assignment,
            lab.classmate.id,
            lab.student.id,
            by_id=lab.classmate.id,
            now=NOON,
        )
        seeds = {seed_of(session, lab.assignment, u.id) for u in (lab.student, lab.classmate)}
    assert len(seeds) == 1
    after = {delay(lab.desk(user).page()) for user in (lab.student, lab.classmate)}
    assert after == {before[0]}
    # What one of them hands in is marked with these numbers, and both see it so.
    assert "Every requirement is met." in solve(lab.desk(lab.classmate), before[0])
    assert delay(lab.desk(lab.student).client.get("/submissions/1").text) == before[0]


def test_an_attempt_keeps_the_numbers_that_it_was_made_for(database: Database, lab: Lab) -> None:
    desk = lab.desk(lab.classmate)
    own = delay(desk.page())
    assert "Every requirement is met." in solve(desk, own)
    with database.write() as session:
        pair_up(
            session,
            lab.assignment,
            lab.classmate.id,
            lab.student.id,
            by_id=lab.classmate.id,
            now=NOON,
        )
    assert delay(desk.page()) != own
    assert delay(desk.client.get("/submissions/1").text) == own


def test_marking_again_gives_each_attempt_its_own_numbers(
    database: Database, lab: Lab, exercises: Path
) -> None:
    for user in (lab.student, lab.classmate):
        desk = lab.desk(user)
        solve(desk, delay(desk.page()))
    find = partial(Catalogue(exercises).find, SLUG)
    with database.read() as session:
        submissions = marked_submissions(session, SLUG)
    assert len({each.seed for each in submissions}) == 2

    def changed(drawn: Callable[[str], Exercise | None]) -> int:
        def found(seed: str) -> Exercise:
            exercise = drawn(seed)
            assert exercise is not None
            return exercise

        return len(list(changed_verdicts(RegradeProgress(1, found, submissions), submissions)))

    assert changed(find) == 0
    assert changed(lambda seed: find("")) == 2
