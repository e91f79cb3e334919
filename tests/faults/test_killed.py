"""kill -9 of web process, worker and PostgreSQL: what was accepted is there, marked once."""

import signal
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from time import monotonic

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from server.jobs.queue import enqueue
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from tests.factories import make_assignment, make_section, make_submission, make_user
from tests.faults.class_at_work import (
    AT_ONCE,
    handing_in,
    make_class,
    right_program,
    submissions,
    verdicts,
)
from tests.faults.conftest import workers
from tests.faults.processes import Process, kill, running, serving, until
from tests.postgresql import postgresql


def test_a_web_process_is_killed_while_a_class_hands_in(either: Database, tmp_path: Path) -> None:
    students = make_class(either, 16)
    with workers(either):
        with (
            serving(either, tmp_path) as (process, address),
            handing_in(students, address) as answers,
        ):
            until(lambda: len(answers.accepted) >= 4, "four accepted")
            kill(process)
        assert answers.refused, "the class was ready before the process was killed"
        kept = submissions(either)
        # Some were on their way; one may be kept although nobody could be told.
        assert set(answers.accepted) <= set(kept)
        assert len(kept) <= len(answers.accepted) + AT_ONCE
        with serving(either, tmp_path) as (_, address):
            # The rest of the class comes again; who was kept is told so.
            with handing_in(students, address) as again:
                pass
            until(lambda: len(verdicts(either)) == len(students), "all verdicts")
    assert submissions(either) == verdicts(either)
    assert set(again.accepted) == set(submissions(either)) - set(kept)
    assert all("the same as in your last attempt" in each for each in again.refused)


def statuses(database: Database) -> dict[int, str]:
    """The state of each job by its submission."""
    with database.read() as session:
        found = session.execute(
            text(
                "SELECT (args->>'submission_id')::int, status FROM procrastinate_jobs "
                "WHERE task_name = 'mark'"
            )
        )
        return {row[0]: row[1] for row in found}


@pytest.fixture
def place(on_postgresql: Database) -> tuple[Assignment, User]:
    with on_postgresql.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        return make_assignment(session, section, exercise="wash-sump"), student


def hand_in(database: Database, place: tuple[Assignment, User]) -> int:
    with database.write() as session:
        number = len(submissions(database)) + 1
        handed_in = make_submission(session, *place, number, program=right_program())
        enqueue(session, handed_in.id)
    return handed_in.id


def is_taken(database: Database, submission_id: int) -> bool:
    return statuses(database).get(submission_id) != "todo"


def is_marked(database: Database, submission_id: int) -> bool:
    return submission_id in verdicts(database)


def caught_marking(database: Database, worker: Process, place: tuple[Assignment, User]) -> int:
    """Pause the worker in the middle of a marking; the submission that it holds."""
    for _ in range(50):
        one = hand_in(database, place)
        until(partial(is_taken, database, one), "the job is taken")
        worker.send_signal(signal.SIGSTOP)
        if statuses(database).get(one) == "doing" and one not in verdicts(database):
            return one
        worker.send_signal(signal.SIGCONT)
        until(partial(is_marked, database, one), "its verdict")
    raise AssertionError("the worker is too quick to be caught")


def test_a_worker_is_killed_and_another_hangs_in_the_middle_of_a_marking(
    on_postgresql: Database, place: tuple[Assignment, User]
) -> None:
    """Both jobs are taken over; the one that wakes up again stores no second verdict."""
    with ExitStack() as stack:
        killed = stack.enter_context(running(on_postgresql, "work"))
        held = caught_marking(on_postgresql, killed, place)
        hanging = stack.enter_context(running(on_postgresql, "work"))
        also_held = caught_marking(on_postgresql, hanging, place)
        kill(killed)
        since = monotonic()
        stack.enter_context(running(on_postgresql, "work"))
        until(lambda: {held, also_held} <= set(verdicts(on_postgresql)), "taken over")
        print(f"taken over after {monotonic() - since:.1f} s")
        before = documents(on_postgresql)
        hanging.send_signal(signal.SIGCONT)
        # It goes on with its work, and with the next one.
        last = hand_in(on_postgresql, place)
        until(lambda: last in verdicts(on_postgresql), "the next one is marked")
        until(lambda: not statuses(on_postgresql), "nothing is left to do")
        assert hanging.poll() is None
    assert {key: before[key] for key in (held, also_held)} == {
        key: documents(on_postgresql)[key] for key in (held, also_held)
    }
    assert submissions(on_postgresql) == verdicts(on_postgresql)


def documents(database: Database) -> dict[int, str]:
    with database.read() as session:
        found = session.execute(
            text("SELECT submission_id, document::text || marked_at::text FROM verdicts")
        )
        return {row[0]: row[1] for row in found}


def test_postgresql_is_killed_while_a_class_hands_in(tmp_path: Path) -> None:
    """Every process of PostgreSQL at once; the web process goes on, a worker is started again."""
    with postgresql() as server:
        # As it is run for real: what is accepted is on the disk.
        server.execute("ALTER SYSTEM RESET ALL")
        server.execute("SELECT pg_reload_conf()")
        with server.database() as database:
            students = make_class(database, 16)
            with (
                running(database, "work"),
                serving(database, tmp_path) as (process, address),
            ):
                with handing_in(students, address) as answers:
                    until(lambda: len(answers.accepted) >= 4, "four accepted")
                    server.kill()
                assert answers.refused
                assert all(
                    "The database does not answer, so this" in each for each in answers.refused
                )
                server.start_again()
                until(lambda: answers_again(database), "the database")
                kept = submissions(database)
                assert set(answers.accepted) <= set(kept)
                with handing_in(students, address) as again:
                    pass
                assert all("the same as in your last attempt" in each for each in again.refused)
                # As its supervisor does: the first one has ended, or has not noticed.
                with running(database, "work"):
                    until(lambda: len(verdicts(database)) == len(students), "all verdicts")
                assert process.poll() is None
            assert submissions(database) == verdicts(database)


def answers_again(database: Database) -> bool:
    try:
        submissions(database)
    except DBAPIError:
        return False
    return True
