"""The worker of a web process: what it does when it is stopped, and when the database is away."""

from threading import Event, Thread
from time import sleep

import pytest

from server.jobs.work_process import NoDatabase
from server.jobs.worker import Worker, mark
from server.marking.files.catalogue import Catalogue
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.submissions import is_queued
from tests.factories import (
    EXERCISES,
    NOON,
    make_assignment,
    make_section,
    make_submission,
    make_user,
    mark_what_waits,
)


@pytest.fixture
def waiting(database: Database) -> list[int]:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, exercise="wash-sump")
        program = {"version": 1, "name": "wash_sump"}
        return [
            make_submission(session, assignment, student, attempt, program=program).id
            for attempt in (1, 2, 3)
        ]


def test_a_stop_waits_for_one_program_and_leaves_the_rest(
    database: Database, waiting: list[int]
) -> None:
    begun: list[int] = []
    marking, go = Event(), Event()

    def mark_one(submission_id: int) -> None:
        begun.append(submission_id)
        marking.set()
        go.wait()

    worker = Worker(database, Catalogue(EXERCISES), lambda: NOON, mark_one)
    worker.start()
    marking.wait()
    stopping = Thread(target=worker.stop)
    stopping.start()
    while not worker._stopping.is_set():
        sleep(0.01)
    go.set()
    stopping.join()
    assert begun == waiting[:1]
    # Started again, it goes on.
    mark_what_waits(Worker(database, Catalogue(EXERCISES), lambda: NOON), database)
    with database.read() as session:
        assert not any(is_queued(session, each) for each in waiting)


def test_a_verdict_that_the_database_did_not_take_is_tried_again(
    database: Database, waiting: list[int]
) -> None:
    catalogue = Catalogue(EXERCISES)
    asked: list[int] = []

    def mark_one(submission_id: int) -> None:
        asked.append(submission_id)
        if len(asked) <= len(waiting):
            raise NoDatabase
        mark(database, catalogue, submission_id, lambda: NOON)

    worker = Worker(database, catalogue, lambda: NOON, mark_one)
    with worker.verdicts.awaited(waiting[-1]) as told:
        worker.start()
        told.result()
    # Nobody is told that it can't be marked.
    assert not any(worker.has_failed(each) for each in waiting)
    worker.stop()
    mark_what_waits(worker, database)
    assert asked == [*waiting, *waiting]
