"""Mails on what is due soon are queued once, and without a look for each student."""

from datetime import timedelta
from threading import Thread

from sqlalchemy import event, func, select, text

from server.store.courses import SectionRole
from server.store.database import Database
from server.store.due_soon import queue_due_soon
from server.store.mail_outbox import OutgoingMail
from tests.factories import NOON, make_assignment, make_section, make_user
from tests.faults.processes import until

STUDENTS = 5


def a_class_with_something_due(database: Database) -> None:
    with database.write() as session:
        students = [(make_user(session), SectionRole.STUDENT) for _ in range(STUDENTS)]
        section = make_section(session, *students)
        opened, due = NOON - timedelta(days=1), NOON + timedelta(hours=1)
        make_assignment(session, section, opens_at=opened, due_at=due)


def waits_for_another(database: Database) -> bool:
    """Return whether a session of this PostgreSQL database waits for a lock."""
    waiting = (
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE wait_event_type = 'Lock' AND datname = current_database()"
    )
    with database.read() as session:
        return bool(session.scalar(text(waiting)))


def test_two_processes_that_look_at_once_queue_each_mail_once(database: Database) -> None:
    a_class_with_something_due(database)
    queued: list[int] = []

    def look() -> None:
        with database.write() as session:
            queued.append(queue_due_soon(session, NOON))

    other = Thread(target=look)
    with database.write() as session:
        queued.append(queue_due_soon(session, NOON))
        other.start()
        if not database.is_sqlite:
            until(lambda: waits_for_another(database), "the other process waits for this one")
    other.join()
    assert queued == [STUDENTS, 0]
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(OutgoingMail)) == STUDENTS


def test_what_a_class_knows_already_is_looked_up_once(database: Database) -> None:
    a_class_with_something_due(database)
    sent: list[str] = []
    event.listen(database.engine, "before_cursor_execute", lambda *given: sent.append(given[2]))
    with database.write() as session:
        assert queue_due_soon(session, NOON) == STUDENTS
    looked = [each for each in sent if each.startswith("SELECT") and "outgoing_mails" in each]
    assert len(looked) == 1
