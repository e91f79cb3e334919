"""Marking on PostgreSQL: the job is written with the submission, and a worker process takes it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from time import sleep

import psycopg
import pytest
from croniter import croniter
from sqlalchemy import select, text

from server.jobs.queue import (
    ROUNDS,
    STALLED_SECONDS,
    Queue,
    enqueue,
    failed_jobs,
    prepare_queue,
    remember,
)
from server.store.attempts import StoredVerdict, SubmissionState
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.submissions import find_submission
from tests.factories import (
    NOON,
    make_assignment,
    make_section,
    make_submission,
    make_user,
)
from tests.faults.processes import running, until
from tests.postgresql import PostgreSQL

PATIENCE = 300.0
"""Seconds until a test gives up: nothing here is judged by its speed."""

PROGRAM = {"version": 1, "name": "wash_sump"}


@pytest.fixture
def database(postgres: PostgreSQL) -> Iterator[Database]:
    with postgres.database() as database:
        prepare_queue(database)
        yield database


@pytest.fixture
def place(database: Database) -> tuple[Assignment, User]:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        return make_assignment(session, section, exercise="wash-sump"), student


def hand_in(database: Database, place: tuple[Assignment, User], attempt: int = 1) -> int:
    with database.write() as session:
        submission = make_submission(session, *place, attempt, program=PROGRAM)
        enqueue(session, submission.id)
    return submission.id


def jobs(database: Database) -> list[str]:
    with database.read() as session:
        return list(
            session.scalars(text("SELECT status FROM procrastinate_jobs WHERE task_name = 'mark'"))
        )


def marked(database: Database) -> int:
    with database.read() as session:
        return len(session.scalars(select(StoredVerdict.submission_id)).all())


def test_submission_and_job_are_kept_together_or_not_at_all(
    database: Database, place: tuple[Assignment, User]
) -> None:
    with pytest.raises(RuntimeError), database.write() as session:
        enqueue(session, make_submission(session, *place).id)
        raise RuntimeError
    assert jobs(database) == []
    hand_in(database, place)
    assert jobs(database) == ["todo"]


def test_a_worker_marks_and_the_page_hears_of_it(
    database: Database, place: tuple[Assignment, User]
) -> None:
    queue = Queue(database)
    queue.start()
    try:
        with running(database, "work"):
            submission_id = hand_in(database, place)
            # Whoever waits is told, too, when the listening begins: then one looks and waits again.
            while not marked(database):
                with queue.verdicts.awaited(submission_id) as told:
                    if not marked(database):
                        told.result(PATIENCE)
            with database.read() as session:
                found = find_submission(session, submission_id)
                assert found is not None
                assert found.state is SubmissionState.MARKED
            assert not queue.has_failed(submission_id)
        # What was done is cleared away.
        assert jobs(database) == []
    finally:
        queue.stop()


def test_what_came_while_nobody_listened_is_told_afterwards(
    database: Database, place: tuple[Assignment, User], postgres: PostgreSQL
) -> None:
    submission_id = hand_in(database, place)
    queue = Queue(database)
    queue.start()
    try:
        for _ in range(2):
            with queue.verdicts.awaited(submission_id) as told:
                while not (listening := _listening(postgres)):
                    sleep(0.05)
                postgres.execute(f"SELECT pg_terminate_backend({listening})")
                told.result(PATIENCE)
    finally:
        queue.stop()


def _listening(postgres: PostgreSQL) -> int | None:
    with psycopg.connect(postgres.url("postgres")) as connection:
        found = connection.execute("SELECT pid FROM pg_stat_activity WHERE query LIKE 'LISTEN %'")
        row = found.fetchone()
    return row[0] if row else None


def test_a_row_without_a_job_gets_one(database: Database, place: tuple[Assignment, User]) -> None:
    with database.write() as session:
        make_submission(session, *place, program=PROGRAM)
    remember(database, NOON)
    assert jobs(database) == []
    later = NOON.replace(minute=2)
    for _ in range(2):
        remember(database, later)
    assert jobs(database) == ["todo"]
    # What some worker is at has its job.
    with database.write() as session:
        session.execute(text("UPDATE procrastinate_jobs SET status = 'doing'"))
    remember(database, later)
    assert jobs(database) == ["doing"]


def test_a_program_that_can_never_be_marked_is_told(
    database: Database, place: tuple[Assignment, User]
) -> None:
    with database.write() as session:
        broken = make_submission(session, *place, program={"version": 99})
        enqueue(session, broken.id)
    queue = Queue(database)
    assert not queue.has_failed(broken.id)
    with running(database, "work"):
        until(lambda: queue.has_failed(broken.id), "the last try")
    with database.read() as session:
        assert failed_jobs(session) == {broken.id}
    # It is not tried again and again.
    remember(database, NOON.replace(minute=2))
    assert jobs(database) == ["failed"]


def test_rounds_are_made_every_ten_seconds() -> None:
    """So that a job whose worker died is taken over within half a minute."""
    times = croniter(ROUNDS, NOON, ret_type=datetime)
    assert [times.get_next() - NOON for _ in range(3)] == [
        timedelta(seconds=seconds) for seconds in (10, 20, 30)
    ]
    assert STALLED_SECONDS + 10 <= 30
