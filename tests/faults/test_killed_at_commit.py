"""kill -9 of a web process just before it commits a submission, and between that and its answer."""

import signal
import subprocess
import sys

import pytest
from sqlalchemy import select, text

from server.jobs.worker import Worker
from server.marking.files.catalogue import Catalogue
from server.store.attempts import StoredVerdict, Submission
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from tests.factories import (
    EXERCISES,
    NOON,
    make_assignment,
    make_section,
    make_user,
    mark_what_waits,
)

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
        mark_what_waits(Worker(database, Catalogue(EXERCISES), lambda: NOON), database)
    assert stored(database) == (kept, kept)
