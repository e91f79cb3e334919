"""The demo course: its spread of work, and marks that the engine really gave."""

from collections import Counter

import pytest
from sqlalchemy import select

from server.demo import course as demo
from server.demo.people import STUDENT
from server.ladder.json_form import from_json
from server.ladder.program import Program
from server.ladder.similarity import similar_pairs
from server.marking.acceptance import acceptance_run
from server.marking.files.catalogue import Catalogue
from server.marking.files.exercise_file import load_exercise
from server.marking.verdict_form import to_json
from server.paths import EXERCISES
from server.store.allowances import Accommodation
from server.store.attempts import Submission, SubmissionState
from server.store.corrections import Excuse, Override, RungComment
from server.store.courses import Assignment, Enrolment, Extension, Section, SectionRole, Term
from server.store.database import Database
from server.store.lab_seats import SeatState, labs_now
from server.store.outcome_actions import OutcomeAction
from server.store.people import User
from server.store.signatures import ReportSignature
from server.store.sittings import sitting_of
from server.store.standings import CountingAttempt
from server.web.reports.binder import figures_hash
from server.web.reports.figures import read_report
from tests.factories import NOON

SUMP = load_exercise(EXERCISES / "apple-wash-sump")


@pytest.fixture
def loaded(database: Database) -> Database:
    with database.write() as session:
        assert demo.load_demo(session, [SUMP], NOON)
    return database


def test_three_terms_four_sections_and_a_spread_of_work(loaded: Database) -> None:
    with loaded.read() as session:
        assert len(session.scalars(select(Term)).all()) == 3
        assert len(session.scalars(select(Section)).all()) == 4
        standings = session.scalars(select(CountingAttempt)).all()
        assert 50 <= len(standings) < 74, "some have handed in nothing"
        shares = [
            each.score / each.max_score for each in standings if each.score and each.max_score
        ]
        assert sum(share == 1 for share in shares) >= 8
        assert sum(0.85 <= share < 1 for share in shares) >= 4
        assert sum(share < 0.8 for share in shares) >= 4
        assert any(each.days_late for each in standings)
        assert any(each.attempts > 2 for each in standings)
        for table in (Override, RungComment, Extension, Excuse, Accommodation, OutcomeAction):
            assert session.scalars(select(table)).first() is not None
        enrolments = session.scalars(select(Enrolment)).all()
        assert [each.role for each in enrolments].count(SectionRole.WITHDRAWN) == 1
        assert [each.incomplete for each in enrolments].count(True) == 1


def test_the_marks_are_those_of_the_engine(loaded: Database) -> None:
    with loaded.read() as session:
        submissions = session.scalars(select(Submission)).all()
        assert {each.state for each in submissions} == {SubmissionState.MARKED}
        for submission in submissions[::12]:
            verdict = acceptance_run(SUMP, from_json(submission.program))
            assert submission.verdict is not None
            assert submission.verdict.document == to_json(verdict)


def test_nothing_is_handed_in_after_the_demo_was_loaded(loaded: Database) -> None:
    with loaded.read() as session:
        assert all(each.submitted_at <= NOON for each in session.scalars(select(Submission)))


def test_two_programs_are_alike_but_for_names_comments_and_order(loaded: Database) -> None:
    """The pair that the instructor may look at: both were really marked, and count."""
    with loaded.read() as session:
        assignment = session.scalars(select(Assignment)).first()
        assert assignment is not None
        counting = session.scalars(
            select(Submission)
            .join(CountingAttempt, CountingAttempt.submission_id == Submission.id)
            .where(CountingAttempt.assignment_id == assignment.id)
        ).all()
        programs = [from_json(each.program) for each in counting]
    other_words = [
        pair
        for pair in similar_pairs(programs)
        if comments_of(programs[pair.first]).isdisjoint(comments_of(programs[pair.second]))
    ]
    assert [pair.similarity for pair in other_words][:1] == [1.0]


def comments_of(program: Program) -> set[str]:
    return {rung.comment for rung in program.rungs}


def test_a_lab_is_on_and_the_terms_before_are_signed(
    database: Database,
) -> None:
    exercises = [SUMP, load_exercise(EXERCISES / "condensate-pit")]
    with database.write() as session:
        assert demo.load_demo(session, exercises, NOON)
    with database.read() as session:
        (lab,) = session.scalars(select(Assignment).where(Assignment.sitting_minutes.is_not(None)))
        (hour,) = labs_now(session, lab.section_id, NOON)
        states = Counter(each.state for each in hour.seats)
        assert states[SeatState.OVER] == states[SeatState.SILENT] == 1
        assert states[SeatState.CONNECTED] == 4
        assert sum(each.shared for each in hour.seats) == 2
        student = session.scalars(select(User).where(User.email == STUDENT)).one()
        assert sitting_of(session, lab.id, student.id) is None
        signed = session.scalars(select(ReportSignature)).all()
        assert len(signed) == 2
        for each in signed:
            report = read_report(session, Catalogue(EXERCISES), each.course_id, each.term_id)
            assert each.figures == figures_hash(report)


def test_who_may_sign_in_is_told() -> None:
    told = demo.accounts().splitlines()
    assert "all of it is invented" in told[0]
    assert len({len(line) - len(line.split()[-1]) for line in told[1:]}) == 1, "in one column"
