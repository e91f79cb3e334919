"""Days late and times of day in a time zone whose clocks change."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from server.marking.verdict import Status
from server.store.college import set_time_zone, time_zone
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.local_time import days_late, moment_of, zone_mark
from server.store.standings import CountingAttempt
from tests.factories import make_assignment, make_marked, make_section, make_user

# The IANA's time-zone database, release 2026: in Chicago clocks go forward on 8 March 2026 at 02:00
# and back on 1 November 2026 at 02:00.
CHICAGO = ZoneInfo("America/Chicago")


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=CHICAGO)


@pytest.mark.parametrize(
    ("due", "submitted", "days"),
    [
        ("2026-10-09T23:59", "2026-10-09T23:59", 0),
        ("2026-10-09T12:00", "2026-10-09T15:00", 1),
        ("2026-10-09T23:59", "2026-10-10T00:30", 1),
        ("2026-10-09T12:00", "2026-10-10T23:00", 1),
        ("2026-10-09T23:59", "2026-10-11T00:01", 2),
        # That Sunday has 25 hours, this one 23.
        ("2026-10-31T23:59", "2026-11-01T23:59:30", 1),
        ("2026-03-07T23:59", "2026-03-09T00:01", 2),
    ],
)
def test_days_late_are_days_of_the_calendar(due: str, submitted: str, days: int) -> None:
    assert days_late(local(submitted), local(due), CHICAGO) == days


def test_a_time_of_day_is_a_moment_in_its_zone() -> None:
    assert moment_of(datetime(2026, 10, 9, 23, 59), CHICAGO) == datetime(
        2026, 10, 10, 4, 59, tzinfo=UTC
    )


def test_a_time_that_the_clock_skips_or_shows_twice_is_told() -> None:
    skipped = moment_of(datetime(2026, 3, 8, 2, 30), CHICAGO)
    assert skipped == (
        "Sun 8 Mar 2026, 02:30 doesn't exist in America/Chicago: the clock is set forward over it. "
        "Choose another time, such as 03:30."
    )
    twice = moment_of(datetime(2026, 11, 1, 1, 30), CHICAGO)
    assert twice == (
        "Sun 1 Nov 2026, 01:30 comes twice in America/Chicago: the clock is set back over it. "
        "Choose another time, such as 02:30."
    )
    for hour, minute in ((1, 59), (3, 0)):
        assert isinstance(moment_of(datetime(2026, 3, 8, hour, minute), CHICAGO), datetime)
    for hour, minute in ((0, 59), (2, 0)):
        assert isinstance(moment_of(datetime(2026, 11, 1, hour, minute), CHICAGO), datetime)


@pytest.mark.parametrize(
    ("name", "mark"),
    [("America/Chicago", "CDT"), ("Asia/Dubai", "UTC+04"), ("UTC", "UTC")],
)
def test_a_zone_without_letters_is_told_by_its_offset(name: str, mark: str) -> None:
    assert zone_mark(datetime(2026, 10, 5, tzinfo=UTC), ZoneInfo(name)) == mark


def test_standings_count_days_in_the_zone_of_the_college(database: Database) -> None:
    with database.write() as session:
        assert time_zone(session).key == "UTC"
        assert not set_time_zone(session, "Larkmoor/Here")
        assert set_time_zone(session, "America/Chicago")
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        due = local("2026-10-09T23:59")
        assignment = make_assignment(session, section, due_at=due, late_per_day=0.5)
        # In UTC the due date is the tenth, and so is this.
        at = local("2026-10-10T18:00")
        make_marked(session, assignment, student, 1, at, R1=Status.MET)
        (standing,) = session.scalars(select(CountingAttempt))
        assert (standing.days_late, standing.points) == (1, 0.5)
