"""What happens to what was accepted when a process, the database or the clock fails."""

import signal
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from threading import Event, Thread
from time import sleep

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError, OperationalError

from server.job_queue import enqueue, prepare_queue
from server.marking.files.catalogue import Catalogue
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.submissions import submit
from server.worker import Worker
from tests.factories import EXERCISES, NOON, make_assignment, make_section, make_user
from tests.postgresql import postgresql

PROGRAM = {"version": 1, "name": "wash_sump"}

ACCEPTS_AND_DIES = """
import os, signal, sys
from server.store.courses import Assignment
from server.store.database import Database
from server.store.submissions import submit
from tests.factories import NOON

url, assignment_id, user_id, committed = sys.argv[1:]
database = Database(url)
with database.write() as session:
    assignment = session.get_one(Assignment, int(assignment_id))
    submit(session, assignment, int(user_id), {"version": 1, "name": "wash_sump"}, NOON)
    if committed == "no":
        os.kill(os.getpid(), signal.SIGKILL)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def place(database: Database) -> tuple[Assignment, User]:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        return make_assignment(session, section, exercise="wash-sump"), student


def mark_what_waits(database: Database) -> None:
    worker = Worker(database, Catalogue(EXERCISES), lambda: NOON)
    worker.start()
    worker.stop()


def stored(database: Database) -> tuple[int, int]:
    """Submissions and verdicts."""
    with database.read() as session:
        return (
            len(session.scalars(select(Submission.id)).all()),
            len(session.scalars(select(StoredVerdict.submission_id)).all()),
        )


@pytest.mark.parametrize(("committed", "kept"), [("yes", 1), ("no", 0)])
def test_a_web_process_killed_in_mid_submit(
    database: Database, place: tuple[Assignment, User], committed: str, kept: int
) -> None:
    """kill -9 just before the commit, and between it and the answer."""
    assignment, student = place
    words = [database.place, str(assignment.id), str(student.id), committed]
    died = subprocess.run([sys.executable, "-c", ACCEPTS_AND_DIES, *words], check=False)
    assert died.returncode == -signal.SIGKILL
    assert stored(database) == (kept, 0)
    with database.read() as session:
        assert session.scalar(text("PRAGMA integrity_check")) == "ok"
    for _ in range(2):
        mark_what_waits(database)
    assert stored(database) == (kept, kept)


def test_a_full_disk_takes_nothing_and_loses_nothing(
    database: Database, place: tuple[Assignment, User]
) -> None:
    assignment, student = place
    with database.write() as session:
        submit(session, assignment, student.id, PROGRAM, NOON)
    with closing(Database(database.place)) as full:
        with full.engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        # SQLite answers as on a full disk when its file may not grow.
        limit = f"PRAGMA max_page_count={pages}"
        with pytest.raises(OperationalError, match="full"), full.write() as session:
            session.connection().exec_driver_sql(limit)
            large = {**PROGRAM, "comment": "x" * 500_000}
            submit(session, assignment, student.id, large, NOON)
    assert stored(database) == (1, 0)
    mark_what_waits(database)
    assert stored(database) == (1, 1)


def test_a_clock_that_is_set_back_keeps_the_order_of_attempts(
    database: Database, place: tuple[Assignment, User]
) -> None:
    assignment, student = place
    for number, now in enumerate((NOON, NOON - timedelta(hours=3), NOON + timedelta(minutes=2))):
        with database.write() as session:
            taken = submit(session, assignment, student.id, {**PROGRAM, "name": f"a{number}"}, now)
            assert isinstance(taken, Submission)
            assert taken.attempt == number + 1
    mark_what_waits(database)
    assert stored(database) == (3, 3)


def test_postgresql_killed_while_students_hand_in() -> None:
    """kill -9 of every process of PostgreSQL: what was accepted is there, and marked once."""
    with postgresql() as server:
        server.execute("ALTER SYSTEM RESET ALL")
        server.execute("SELECT pg_reload_conf()")
        with closing(Database(server.url("migrated"))) as database:
            prepare_queue(database)
            with database.write() as session:
                student = make_user(session)
                section = make_section(session, (student, SectionRole.STUDENT))
                assignment = make_assignment(session, section, exercise="wash-sump")
            accepted: list[int] = []
            killed = Event()

            def hand_in() -> None:
                for number in range(10_000):
                    program = {**PROGRAM, "name": f"attempt_{number}"}
                    now = NOON + timedelta(minutes=number)
                    try:
                        with database.write() as session:
                            taken = submit(session, assignment, student.id, program, now)
                            assert isinstance(taken, Submission)
                            enqueue(session, taken.id)
                    except DBAPIError:
                        assert killed.is_set()
                        return
                    accepted.append(taken.id)

            student_at_work = Thread(target=hand_in)
            student_at_work.start()
            while len(accepted) < 20:
                sleep(0.01)
            killed.set()
            server.kill()
            student_at_work.join()
            server.start_again()
            with database.read() as session:
                kept = session.scalars(select(Submission.id)).all()
                jobs = session.scalar(text("SELECT count(*) FROM procrastinate_jobs"))
            # The last one may be kept although nobody could be told.
            assert set(accepted) <= set(kept)
            assert len(kept) <= len(accepted) + 1
            assert jobs == len(kept)
