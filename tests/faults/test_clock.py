"""A clock that is set back: nothing is lost, nobody is shut out."""

from datetime import timedelta

from sqlalchemy import select

from server.jobs.queue import remember
from server.jobs.worker import Worker
from server.marking.files.catalogue import Catalogue
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.guesses import FREE, begin_guess
from server.store.sessions import Lifetime, begin_session, find_session
from server.store.submissions import submit
from tests.factories import (
    EXERCISES,
    NOON,
    make_assignment,
    make_section,
    make_submission,
    make_user,
    mark_what_waits,
)

EARLIER = NOON - timedelta(hours=3)


def test_attempts_keep_their_order(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
    for number, now in enumerate((NOON, EARLIER, NOON + timedelta(minutes=2))):
        with database.write() as session:
            program = {"version": 1, "name": f"a{number}"}
            taken = submit(session, assignment, student.id, program, now)
            assert isinstance(taken, Submission)
            assert taken.attempt == number + 1
    mark_what_waits(Worker(database, Catalogue(EXERCISES), lambda: EARLIER), database)
    with database.read() as session:
        assert len(session.scalars(select(StoredVerdict.submission_id)).all()) == 3


def test_who_is_signed_in_stays_so_and_not_for_ever(database: Database) -> None:
    length = timedelta(hours=12)
    with database.write() as session:
        user = make_user(session)
        token = begin_session(session, user, NOON, Lifetime(length, length))
    with database.read() as session:
        assert find_session(session, token, EARLIER) is not None
        assert find_session(session, token, NOON + length) is None


def test_attempts_to_sign_in_before_it_shut_nobody_out(database: Database) -> None:
    with database.write() as session:
        for _ in range(FREE):
            assert not begin_guess(session, "a@larkmoor.example", "10.0.0.1", NOON)
        assert begin_guess(session, "a@larkmoor.example", "10.0.0.1", NOON)
        assert not begin_guess(session, "a@larkmoor.example", "10.0.0.1", EARLIER)


def test_a_row_without_a_job_gets_one(on_postgresql: Database) -> None:
    """Although it was handed in, by the clock of now, in the future."""
    with on_postgresql.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        make_submission(session, make_assignment(session, section), student)
    remember(on_postgresql, EARLIER)
    with on_postgresql.read() as session:
        assert (
            session.connection()
            .exec_driver_sql("SELECT count(*) FROM procrastinate_jobs WHERE status = 'todo'")
            .scalar_one()
            == 1
        )
