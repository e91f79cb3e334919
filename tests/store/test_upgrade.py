"""Every earlier version's database is brought up to date with what it holds."""

import signal
import subprocess
import sys

import pytest
from sqlalchemy import select, text

from server.store.audit_chain import Action, AuditEvent, check_chain
from server.store.courses import Assignment
from server.store.database import Database, DatabaseTrouble
from server.store.gradebook import standings_in
from server.store.migration import migrate
from server.store.people import User
from tests.store.earlier import REVISIONS, add_first_rows
from tests.store.filled import fill, held


def test_the_first_version_is_brought_up_to_date(empty: Database) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)
    migrate(empty)
    with empty.read() as session:
        assignment = session.get_one(Assignment, 1)
        standing = standings_in(session, assignment)[1]
    assert (standing.points, standing.max_score) == (1.0, 2.0)
    assert standing.results == {"R1": "met", "R2": "not met"}


# On PostgreSQL every fourth version and the newest: each migration runs over rows there, too.
UPGRADES = [
    *(("sqlite", revision) for revision in REVISIONS),
    *(("postgresql", revision) for revision in (*REVISIONS[::4], REVISIONS[-1])),
]


@pytest.mark.parametrize(("empty", "revision"), UPGRADES, indirect=["empty"])
def test_every_row_of_an_earlier_version_is_there_afterwards(
    empty: Database, revision: str
) -> None:
    migrate(empty, revision)
    with empty.engine.begin() as connection:
        fill(connection)
        before = held(connection)
    migrate(empty)
    with empty.engine.connect() as connection:
        after = held(connection)
    assert all(before.values())
    for table, rows in before.items():
        if table in ("refused_attempts", "standings", "lti_logins"):
            # Wrong passwords and launches of the last minutes, stored in another way since; what
            # is counted anew after an upgrade.
            continue
        (row,) = rows
        kept, there = row, table
        if table == "grade_events":
            # Its lines went into the log in a chain, with other columns for who and to whom.
            there = "audit_events"
            columns = ("at", "section_id", "assignment_id", "action", "detail")
            kept = {column: row[column] for column in columns}
        if table == "outcome_targets":
            # Targets of all terms became those from the oldest term on.
            there = "outcome_versions"
        assert any(kept.items() <= each.items() for each in after[there]), table


def test_the_log_of_grades_is_taken_over_into_a_chain(empty: Database) -> None:
    migrate(empty, "0010")
    with empty.engine.begin() as connection:
        fill(connection)
        connection.execute(
            text(
                "INSERT INTO grade_events "
                "(id, at, actor_id, section_id, student_id, action, detail) "
                "SELECT 2, at, NULL, section_id, NULL, 'set points', '4 points' FROM grade_events"
            )
        )
        connection.execute(text("UPDATE grade_events SET action = 'gave time' WHERE id = 1"))
    migrate(empty)
    with empty.read() as session:
        chain = check_chain(session)
        first, second = session.scalars(select(AuditEvent).order_by(AuditEvent.number))
        (user,) = session.scalars(select(User))
    assert (chain.lines, chain.faults) == (2, ())
    assert (first.actor, first.person) == (user.log_id, user.log_id)
    # Who did it was erased before: somebody did it all the same.
    assert (second.action, second.detail, second.person) == (Action.SET_POINTS, "4 points", None)
    assert second.actor not in (None, user.log_id)


@pytest.mark.parametrize("reached", ["30", "commit"])
def test_a_migration_that_is_killed_leaves_what_was(empty: Database, reached: str) -> None:
    """kill -9 at some statement, and just before the commit."""
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)
    with empty.engine.connect() as connection:
        before = held(connection)
    empty.close()
    url = empty.address.render_as_string(hide_password=False)
    killed = subprocess.run([sys.executable, "-c", DIES, url, reached], check=False)
    assert killed.returncode == -signal.SIGKILL
    with empty.engine.connect() as connection:
        assert held(connection) == before
    migrate(empty)
    with empty.read() as session:
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[-1]
        assert session.scalar(text("SELECT count(*) FROM submissions")) == 1


DIES = """
import os, signal, sys
from sqlalchemy import event
from server.store.database import Database
from server.store.migration import migrate
from server.store.people import User

url, reached = sys.argv[1:]
database, done = Database(url), 0

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

def count(*_):
    global done
    done += 1
    if str(done) == reached:
        die()

event.listen(database.engine, "before_cursor_execute", count)
if reached == "commit":
    event.listen(database.engine, "commit", die)
migrate(database)
"""


def test_a_migration_that_is_interrupted_leaves_what_was(
    empty: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)

    def pull_the_plug(*_arguments: object) -> None:
        raise DatabaseTrouble("the plug")

    with monkeypatch.context() as patched:
        # It is the last thing before the commit.
        patched.setattr("server.store.migration._check_foreign_keys", pull_the_plug)
        with pytest.raises(DatabaseTrouble, match="the plug"):
            migrate(empty)
    with empty.read() as session:
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[0]
        assert session.scalar(text("SELECT count(*) FROM submissions")) == 1
    migrate(empty)
    with empty.read() as session:
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[-1]
