"""The log: its chain holds whatever writes to it, and tells whatever was done to its lines."""

from collections.abc import Callable
from datetime import timedelta
from threading import Barrier, Thread

import pytest
from sqlalchemy import text

from server.store.audit import note
from server.store.audit_chain import Action, AuditEvent, Chain, check_chain
from server.store.audit_lines import events_of
from server.store.courses import Section
from server.store.database import Database
from server.store.people import User
from tests.factories import NOON, make_section, make_user

Noted = tuple[User, Section]


@pytest.fixture
def noted(database: Database) -> Noted:
    """Five lines of a section."""
    with database.write() as session:
        actor, section = make_user(session), make_section(session)
    for number in range(5):
        with database.write() as session:
            when = NOON + timedelta(minutes=number)
            note(session, when, actor.id, Action.GAVE_TIME, section.id, detail=f"number {number}")
    return actor, section


def check(database: Database) -> Chain:
    with database.read() as session:
        return check_chain(session, keep=(3,))


def test_a_log_that_was_left_alone_is_whole(database: Database, noted: Noted) -> None:
    actor, section = noted
    chain = check(database)
    assert (chain.lines, chain.faults, list(chain.hashes)) == (5, (), [3])
    with database.read() as session:
        shown = [(event.detail, who) for event, who, _, _ in events_of(session, section.id)]
    assert shown == [(f"number {n}", actor.listed_as) for n in (4, 3, 2, 1, 0)]


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE audit_events SET action = 'paired' WHERE number = 3", "Line 4 does not follow"),
        ("UPDATE audit_events SET actor = NULL WHERE number = 5", "Line 5, the last one, was ch"),
        ("UPDATE audit_events SET detail = 'none' WHERE number = 2", "The detail of line 2 was"),
        ("UPDATE audit_events SET detail = '', salt = NULL WHERE number = 2", "line 2 was taken"),
        ("DELETE FROM audit_events WHERE number = 1", "Line 1 is missing."),
        ("DELETE FROM audit_events WHERE number IN (2, 3)", "Lines 2 to 3 are missing."),
        ("DELETE FROM audit_events WHERE number = 5", "Line 5 is missing at the end."),
        ("DELETE FROM audit_events", "Lines 1 to 5 are missing at the end."),
        ("UPDATE audit_events SET number = number + 1 WHERE number = 5", "Line 5 is missing."),
    ],
)
def test_what_was_done_to_the_log_is_told(
    database: Database, noted: Noted, statement: str, fault: str
) -> None:
    with database.write() as session:
        session.execute(text(statement))
    assert fault in " ".join(check(database).faults)


def test_a_line_may_be_about_somebody_while_nobody_is_signed_in(
    database: Database, noted: Noted
) -> None:
    actor, _ = noted
    with database.write() as session:
        note(
            session, NOON, None, Action.FAILED_SIGN_IN, person_id=actor.id, detail="from 192.0.2.7"
        )
    with database.read() as session:
        line = session.get_one(AuditEvent, 6)
        assert (line.person, line.detail, line.actor) == (actor.log_id, "from 192.0.2.7", None)


def test_writers_at_the_same_time_make_one_chain(database: Database, noted: Noted) -> None:
    actor, section = noted
    together = Barrier(4)

    def write(number: int) -> None:
        for each in range(5):
            together.wait()
            with database.write() as session:
                detail = f"{number}.{each}"
                note(session, NOON, actor.id, Action.GAVE_TIME, section.id, detail=detail)

    _run(write, 4)
    assert (check(database).lines, check(database).faults) == (25, ())


def test_the_log_is_the_last_thing_that_a_unit_of_work_waits_for(
    database: Database, noted: Noted
) -> None:
    """One notes and then locks a row, the other locks it and then notes: neither stops the other.

    On SQLite the second unit begins when the first has ended.
    """
    actor, section = noted
    lock = "UPDATE sections SET number = number WHERE id = :id"
    together = Barrier(2)

    def write(number: int) -> None:
        for _ in range(5):
            together.wait()
            with database.write() as session:
                if number:
                    session.execute(text(lock), {"id": section.id})
                note(session, NOON, actor.id, Action.GAVE_TIME, section.id)
                session.execute(text(lock), {"id": section.id})

    _run(write, 2)
    assert (check(database).lines, check(database).faults) == (15, ())


def test_what_is_taken_back_leaves_no_line(database: Database, noted: Noted) -> None:
    actor, section = noted
    with pytest.raises(ValueError, match="taken back"), database.write() as session:
        note(session, NOON, actor.id, Action.GAVE_TIME, section.id)
        raise ValueError("taken back")
    assert (check(database).lines, check(database).faults) == (5, ())


def test_a_look_is_noted_once_in_ten_minutes(database: Database, noted: Noted) -> None:
    actor, section = noted
    for minutes in (0, 9, 11):
        with database.write() as session:
            when = NOON + timedelta(minutes=minutes)
            note(session, when, actor.id, Action.SAW_GRADEBOOK, section.id)
    assert check(database).lines == 7


def _run(write: Callable[[int], None], number: int) -> None:
    threads = [Thread(target=write, args=(each,)) for each in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
