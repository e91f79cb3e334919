"""The college's time zone: set by the administrator, shown beside due dates, used by forms."""

from datetime import UTC, date, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

from sqlalchemy import select

from server.marking.verdict import Status
from server.store.audit_chain import Action, AuditEvent
from server.store.college import set_time_zone
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.gradebook import standings_in
from server.store.people import Role, User
from server.web.assignments.policy import end_of_day, read_moment
from tests.factories import NOON, make_assignment, make_marked, make_section, make_user
from tests.web.lab import ClientFor

FORM = {"exercise": "wash-sump", "opens": "2026-10-05T08:00", "due": "2026-10-12T23:59"}


def set_work(client_for: ClientFor, database: Database) -> tuple[User, int]:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        section = make_section(session, (teacher, SectionRole.INSTRUCTOR))
        assert set_time_zone(session, "America/Chicago")
    assert (
        client_for(teacher).post(f"/sections/{section.id}/assignments", data=FORM).status_code
        == 303
    )
    return teacher, section.id


def test_a_form_is_read_and_a_due_date_shown_in_the_zone(
    client_for: ClientFor, database: Database
) -> None:
    teacher, section_id = set_work(client_for, database)
    with database.read() as session:
        (assignment,) = session.scalars(select(Assignment))
    assert assignment.due_at == datetime(2026, 10, 13, 4, 59, tzinfo=UTC)
    page = client_for(teacher).get(f"/sections/{section_id}/assignments").text
    assert "Mon 12 Oct 2026, 23:59 CDT" in page
    page = client_for(teacher).get(f"/assignments/{assignment.id}/settings").text
    assert 'name="due" value="2026-10-12T23:59"' in page
    assert "Times in America/Chicago" in page


def test_a_time_at_the_change_of_the_clock_is_told_and_kept_in_the_form(
    client_for: ClientFor, database: Database
) -> None:
    teacher, _ = set_work(client_for, database)
    client = client_for(teacher)
    with database.read() as session:
        (assignment,) = session.scalars(select(Assignment))
    for due, words in (
        ("2027-03-14T02:30", "02:30 doesn't exist in America/Chicago"),
        ("2026-11-01T01:30", "01:30 comes twice in America/Chicago"),
        ("soon", "Each date needs a day and a time"),
    ):
        answer = client.post(f"/assignments/{assignment.id}/settings", data={**FORM, "due": due})
        assert answer.status_code == 422
        assert words in unescape(answer.text)
        assert f'value="{due}"' in answer.text


def test_a_date_that_is_left_as_it_was_stays_to_the_second() -> None:
    zone = ZoneInfo("America/Chicago")
    # The second of two times of day that look the same.
    stored = datetime(2026, 11, 1, 7, 30, 12, tzinfo=UTC)
    assert read_moment("2026-11-01T01:30", zone, stored) == stored
    assert isinstance(read_moment("2026-11-01T01:30", zone), str)
    end = read_moment(end_of_day(date(2026, 10, 9)), zone)
    assert end == datetime(2026, 10, 10, 4, 59, tzinfo=UTC)


def test_another_zone_is_written_down_and_counts_late_days_anew(
    client_for: ClientFor, database: Database
) -> None:
    with database.write() as session:
        head, student = make_user(session, Role.ADMINISTRATOR), make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        due = datetime(2026, 10, 9, 23, 59, tzinfo=UTC)
        assignment = make_assignment(session, section, due_at=due, late_per_day=0.25)
        at = due + timedelta(hours=26)
        make_marked(session, assignment, student, 1, at, R1=Status.MET)

    def points() -> float | None:
        with database.read() as session:
            found = session.get_one(Assignment, assignment.id)
            return standings_in(session, found)[student.id].points

    client = client_for(head)
    assert "UTC" in client.get("/courses").text
    assert points() == 0.5
    wrong = client.post("/college/time-zone", data={"name": "Larkmoor/Here"})
    assert wrong.status_code == 422
    assert "There is no time zone Larkmoor/Here" in wrong.text
    assert 'value="Larkmoor/Here"' in wrong.text
    # There it was due on the ninth in the evening, and came on the tenth.
    changed = client.post("/college/time-zone", data={"name": "America/Chicago"})
    assert changed.status_code == 303
    assert points() == 0.75
    assert 'value="America/Chicago"' in client.get("/courses").text
    with database.read() as session:
        line = session.scalars(select(AuditEvent)).one()
    assert (line.action, line.actor) == (Action.CHANGED_COLLEGE, head.log_id)
    assert line.detail == "time zone from UTC to America/Chicago"
    assert line.at == NOON
