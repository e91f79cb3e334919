"""Students for whom something else holds than for the class; dates worked out by hand."""

from datetime import UTC, datetime, timedelta

import pytest

from server.marking.verdict import Status
from server.store import roster, roster_file, submissions
from server.store.allowances import allowance_of
from server.store.attempts import Submission
from server.store.college import set_time_zone
from server.store.courses import Assignment, Section, SectionRole, find_enrolment
from server.store.database import Database
from server.store.gradebook import section_book, standings_of
from server.store.people import User
from server.store.report_work import work_of
from server.store.student_changes import (
    Profile,
    add_accommodation,
    complete_student,
    enroll_again,
    remove_accommodation,
    set_incomplete,
    set_owes_from,
    withdraw_student,
)
from server.store.submissions import Refusal
from tests.factories import NOON, make_assignment, make_marked, make_section, make_user

MET, NOT_MET = Status.MET, Status.NOT_MET
DAY = timedelta(days=1)
# 23:59 in Chicago on Friday 30 October 2026; the clock is set back on Sunday 1 November.
FRIDAY = datetime(2026, 10, 31, 4, 59, tzinfo=UTC)
FALL = (datetime(2026, 8, 1, tzinfo=UTC), datetime(2026, 12, 31, tzinfo=UTC))


@pytest.fixture
def one_class(database: Database) -> tuple[User, User, Section, Assignment]:
    """Two students and an exercise with two attempts, due on that Friday and closed a day later."""
    with database.write() as session:
        set_time_zone(session, "America/Chicago")
        one, two = make_user(session), make_user(session)
        section = make_section(session, (one, SectionRole.STUDENT), (two, SectionRole.STUDENT))
        assignment = make_assignment(
            session,
            section,
            due_at=FRIDAY,
            closes_at=FRIDAY + DAY,
            attempts=2,
            late_per_day=0.1,
        )
        return one, two, section, assignment


Class = tuple[User, User, Section, Assignment]


def test_a_profile_moves_dates_and_adds_attempts_for_what_is_due_between_its_dates(
    database: Database, one_class: Class
) -> None:
    one, two, section, assignment = one_class
    profile = Profile(1.5, 3, 1, *FALL, "letter")
    with database.write() as session:
        lab = make_assignment(
            session, section, opens_at=NOON, due_at=NOON + timedelta(hours=2), attempts=None
        )
        spring = make_assignment(session, section, due_at=NOON + 120 * DAY)
        make_marked(session, assignment, one, 1, FRIDAY + 2 * DAY, R1=MET)
        assert standings_of(session, one.id, [assignment.id])[assignment.id].days_late == 2
        add_accommodation(session, section.id, one.id, profile, by_id=two.id, now=NOON)
        own = allowance_of(session, assignment, one.id)
        # Three days later at 23:59 in Chicago, where an hour more has passed.
        assert own.due_at == FRIDAY + 3 * DAY + timedelta(hours=1)
        assert (own.closes_at, own.attempts) == (own.due_at + DAY, 3)
        assert allowance_of(session, lab, one.id).due_at == NOON + timedelta(hours=3)
        assert not allowance_of(session, spring, one.id).moved
        assert not allowance_of(session, assignment, two.id).moved
        assert standings_of(session, one.id, [assignment.id])[assignment.id].days_late == 0
        late = own.due_at + timedelta(hours=23)
        for each in (one, two):
            taken = [
                submissions.submit(session, assignment, each.id, {"n": n}, late + n * DAY / 9999)
                for n in range(3)
            ]
            if each is one:
                assert [type(each) for each in taken[:2]] == [Submission, Submission]
                assert taken[2] is Refusal.NO_ATTEMPT_LEFT
            else:
                assert set(taken) == {Refusal.CLOSED}
        remove_accommodation(session, section.id, two.id, 1, by_id=two.id, now=NOON)
        assert allowance_of(session, assignment, one.id).moved, (
            "another student has no such profile"
        )
        remove_accommodation(session, section.id, one.id, 1, by_id=two.id, now=NOON)
        assert not allowance_of(session, assignment, one.id).moved


def test_who_has_withdrawn_keeps_their_work_and_is_in_no_figure(
    database: Database, one_class: Class
) -> None:
    one, two, section, assignment = one_class
    with database.write() as session:
        make_marked(session, assignment, one, R1=MET)
        withdraw_student(session, section.id, one.id, by_id=two.id, now=NOON)
        book = section_book(session, section, FRIDAY + DAY)
        assert [row.student.id for row in book.rows] == [two.id]
        assert [each.id for each in book.withdrawn] == [one.id]
        assert work_of(session, section.course_id) == []
        own = standings_of(session, one.id, [assignment.id])[assignment.id]
        assert (own.points, own.owed) == (1.0, False)
        # A list that names them still doesn't bring them back; their instructor does.
        line = roster_file.RosterLine(2, one.email, one.name, one.listed_as)
        roster.enrol_all(session, section, [line], drop_missing=False)
        assert section_book(session, section, NOON).withdrawn
        enroll_again(session, section.id, one.id, by_id=two.id, now=NOON)
        assert len(section_book(session, section, NOON).rows) == 2
        assert len(work_of(session, section.course_id)) == 1


def test_an_incomplete_is_late_for_nothing_and_waits_for_the_report(
    database: Database, one_class: Class
) -> None:
    one, two, section, assignment = one_class
    until = FRIDAY + 60 * DAY
    with database.write() as session:

        def points() -> float | None:
            return standings_of(session, one.id, [assignment.id])[assignment.id].points

        make_marked(session, assignment, one, 1, FRIDAY + 3 * DAY, R1=MET)
        assert points() == pytest.approx(0.7)
        set_incomplete(session, section.id, one.id, until, by_id=two.id, now=NOON)
        assert points() == 1.0
        assert work_of(session, section.course_id) == []
        complete_student(session, section.id, one.id, by_id=two.id, now=NOON)
        assert (points(), len(work_of(session, section.course_id))) == (1.0, 1)
        enroll_again(session, section.id, one.id, by_id=two.id, now=NOON)
        assert points() == pytest.approx(0.7)


def test_who_joins_late_owes_what_opens_afterwards(database: Database, one_class: Class) -> None:
    _, two, section, assignment = one_class
    comes = FRIDAY + timedelta(hours=1)
    with database.write() as session:
        later = make_assignment(session, section, opens_at=comes, due_at=comes + 7 * DAY)
        early, late = make_user(session), make_user(session)
        for user, now in ((early, NOON), (late, comes)):
            roster.enrol(session, section, user, SectionRole.STUDENT, now=now)
        after = comes + 30 * DAY
        rows = {row.student.id: row for row in section_book(session, section, after).rows}

        def missing(user: User) -> list[bool]:
            pairs = zip((assignment, later), rows[user.id].standings, strict=True)
            return [standing.missing(each, after) for each, standing in pairs]

        assert missing(early) == [True, True]
        assert missing(late) == [False, True]
        # What they hand in all the same counts.
        make_marked(session, assignment, late, R1=MET)
        make_marked(session, later, late, R1=NOT_MET)
        rows = {row.student.id: row for row in section_book(session, section, after).rows}
        assert rows[late.id].share == 0.5
        set_owes_from(session, section.id, late.id, None, by_id=two.id, now=NOON)
        enrolment = find_enrolment(session, section.id, late.id)
        assert enrolment is not None
        assert enrolment.owes_from is None
