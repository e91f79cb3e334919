"""One unit of work: all or nothing, and writers that wait for each other."""

import subprocess
import sys
from contextlib import suppress
from datetime import datetime, timedelta, timezone
from pathlib import Path
from threading import Thread

import pytest
from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError, InternalError, StatementError

from server.store.courses import Enrolment, Section, SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import NOON, make_assignment, make_section, make_user


def test_an_exception_takes_back_the_whole_unit_of_work(database: Database) -> None:
    with pytest.raises(RuntimeError), database.write() as session:
        make_user(session)
        raise RuntimeError
    with database.read() as session:
        assert session.scalars(select(User)).all() == []


def test_what_a_reading_unit_changes_is_refused_or_lost(database: Database) -> None:
    # PostgreSQL refuses it.
    with suppress(InternalError), database.read() as session:
        make_user(session)
    with database.read() as session:
        session.add(User(email="a@b.example", name="A", listed_as="A", role=Role.STUDENT))
    with database.read() as session:
        assert session.scalars(select(User)).all() == []


def test_writers_side_by_side_lose_no_update(database: Database) -> None:
    with database.write() as session:
        section = make_section(session)
        assignment = make_assignment(session, section, attempts=1)
        table = type(assignment)

    def count_up() -> None:
        for _ in range(25):
            with database.write() as session:
                # PostgreSQL locks the row; SQLite has locked everything already.
                row = session.get_one(table, assignment.id, with_for_update=True)
                seen = row.attempts
                assert seen is not None
                session.execute(
                    update(table).where(table.id == assignment.id).values(attempts=seen + 1)
                )

    threads = [Thread(target=count_up) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.read() as session:
        assert session.get_one(table, assignment.id).attempts == 101


def test_a_reader_does_not_wait_for_a_writer(database: Database) -> None:
    with database.write() as writing:
        make_user(writing)
        with database.read() as reading:
            assert reading.scalars(select(User)).all() == []


def test_what_is_accepted_is_on_the_disk(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from server.store.database import Database\n"
        "with Database(sys.argv[1]).write() as session:\n"
        "    connection = session.connection()\n"
        "    print(connection.exec_driver_sql('PRAGMA synchronous').scalar())\n"
    )
    words = [sys.executable, "-c", code, f"sqlite:///{tmp_path / 'new.db'}"]
    told = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    # 2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
    assert told.strip() == "2"


def test_moments_keep_their_time_zone(database: Database) -> None:
    with database.write() as session:
        elsewhere = NOON.astimezone(timezone(timedelta(hours=-7)))
        assignment = make_assignment(session, make_section(session), opens_at=elsewhere)
    with database.read() as session:
        stored = session.get_one(type(assignment), assignment.id)
        assert stored.opens_at == NOON
        assert stored.opens_at.utcoffset() == timedelta(0)


def test_a_moment_without_a_time_zone_is_refused(database: Database) -> None:
    with pytest.raises(StatementError), database.write() as session:
        make_assignment(session, make_section(session), opens_at=datetime(2026, 10, 1))


def test_rows_that_refer_to_nothing_are_refused(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(Enrolment(section_id=99, user_id=99, role=SectionRole.STUDENT))


def test_a_section_number_is_given_once_a_term(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        section = make_section(session)
        session.add(
            Section(course_id=section.course_id, term_id=section.term_id, number=section.number)
        )


@pytest.mark.parametrize(
    "columns",
    [
        {"due_at": NOON, "opens_at": NOON.replace(hour=13)},
        {"due_at": NOON.replace(hour=13), "closes_at": NOON},
        {"attempts": 0},
        {"feedback_from_attempt": 0},
    ],
)
def test_an_assignment_that_makes_no_sense_is_refused(
    database: Database, columns: dict[str, object]
) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        make_assignment(session, make_section(session), **columns)


def test_the_password_of_a_database_is_not_shown(tmp_path: Path) -> None:
    assert Database(f"sqlite:///{tmp_path}/a.db").place == f"sqlite:///{tmp_path}/a.db"


@pytest.mark.parametrize("database", ["postgresql"], indirect=True)
def test_a_connection_that_died_while_nobody_used_it_is_replaced(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.store.database.TRUSTED_SECONDS", 0.0)
    other = Database(database.address.render_as_string(hide_password=False))
    for use in (database.read, database.write):
        with use() as session:
            mine = session.scalar(select(func.pg_backend_pid()))
        with other.write() as session:
            session.execute(select(func.pg_terminate_backend(mine)))
        with use() as session:
            assert session.scalar(select(func.pg_backend_pid())) != mine
    other.close()
