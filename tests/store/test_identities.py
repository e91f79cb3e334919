"""Accounts by what other systems say: addresses that move, roles that are taken away."""

import pytest
from sqlalchemy import select

from server.marking.verdict import Status
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import Enrolment, Section, SectionRole, role_in_section
from server.store.database import Database
from server.store.gradebook import gradebook, progress_of, section_book, standings_of
from server.store.lti import LtiPerson, Platform
from server.store.lti_entry import LaunchUser, ProofNeeded, account_of
from server.store.lti_roles import LmsSource, follow, follow_members
from server.store.openid import account_of_subject
from server.store.openid_entry import NotTheirs, PasswordFirst, connect
from server.store.people import Origin, Role, User
from server.store.report_work import work_of
from server.store.roster import enrol
from tests.factories import (
    NOON,
    make_assignment,
    make_lti_link,
    make_marked,
    make_section,
    make_user,
)

ISSUER = "https://accounts.larkmoor.example"
LMS = "Larkmoor course server"


def test_a_moved_address_opens_nothing(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
        assert connect(session, ISSUER, "first", user.email, None, NOON) == user
    with database.write() as session:
        with pytest.raises(NotTheirs, match=user.email):
            connect(session, ISSUER, "second", user.email, None, NOON)
        # Not even for who is signed in to the account: it has its subject.
        with pytest.raises(NotTheirs):
            connect(session, ISSUER, "second", user.email, user.id, NOON)
        assert account_of_subject(session, ISSUER, "second") is None
        found = connect(session, ISSUER, "first", "other@larkmoor.example", None, NOON)
        assert found is not None
        assert found.id == user.id
        assert connect(session, ISSUER, "third", "nobody@larkmoor.example", None, NOON) is None
        # A subject is one of its issuer's only.
        assert account_of_subject(session, f"{ISSUER}/other", "first") is None


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, Role.DEPARTMENT])
def test_an_overseers_password_is_asked_once(database: Database, role: Role) -> None:
    with database.write() as session:
        user, other = make_user(session, role), make_user(session)
        for visitor_id in (None, other.id):
            with pytest.raises(PasswordFirst):
                connect(session, ISSUER, "first", user.email, visitor_id, NOON)
        assert connect(session, ISSUER, "first", user.email, user.id, NOON) == user
        invited = make_user(session, role)
        invited.password_hash = None
        assert connect(session, ISSUER, "second", invited.email, None, NOON) == invited


def test_who_has_the_address_takes_an_unconfirmed_account_over(database: Database) -> None:
    """Somebody has joined with another person's address; then its owner comes."""
    with database.write() as session:
        joined, other = make_user(session), make_user(session)
        joined.confirmed = other.confirmed = False
        found = connect(session, ISSUER, "first", joined.email, None, NOON)
        assert found is joined
        assert (joined.confirmed, joined.password_hash) == (True, None)
        assert account_of_subject(session, ISSUER, "first") is joined
        teacher = make_user(session, Role.INSTRUCTOR)
        assignment = make_assignment(session, make_section(session))
        platform_id = make_lti_link(session, assignment, teacher)["platform_id"]
        platform = session.get_one(Platform, platform_id)
        comer = LaunchUser("s-1", SectionRole.STUDENT, "Owner", "", other.email)
        assert account_of(session, platform, comer, None, NOON) is other
        assert (other.confirmed, other.password_hash) == (True, None)
        assert session.get_one(LtiPerson, (platform_id, "s-1")).user_id == other.id


def test_an_lms_does_not_open_an_account_that_a_provider_opens(database: Database) -> None:
    with database.write() as session:
        teacher = make_user(session, Role.INSTRUCTOR)
        assignment = make_assignment(session, make_section(session))
        platform_id = make_lti_link(session, assignment, teacher)["platform_id"]
        platform = session.get_one(Platform, platform_id)
        student = make_user(session)
        student.password_hash = None
        connect(session, ISSUER, "first", student.email, None, NOON)
        comer = LaunchUser("s-1", SectionRole.STUDENT, "Whoever", "", student.email)
        with pytest.raises(ProofNeeded):
            account_of(session, platform, comer, None, NOON)
        assert account_of(session, platform, comer, student.id, NOON) == student


@pytest.fixture
def section(database: Database) -> Section:
    """A section whose instructor was named here."""
    with database.write() as session:
        return make_section(session, (make_user(session, Role.INSTRUCTOR), SectionRole.INSTRUCTOR))


def made_by_lms(database: Database, section: Section, role: SectionRole) -> User:
    """Somebody whose account and role the LMS has made."""
    with database.write() as session:
        user = make_user(session)
        user.password_hash, user.origin = None, Origin.LMS
        assert follow(session, section.id, user, role, LmsSource(LMS, user.id, NOON)) is role
        return user


def test_a_role_follows_the_lms_each_time(database: Database, section: Section) -> None:
    user = made_by_lms(database, section, SectionRole.INSTRUCTOR)
    for role, at_college in (
        (SectionRole.STUDENT, Role.STUDENT),
        (SectionRole.INSTRUCTOR, Role.INSTRUCTOR),
        (SectionRole.GRADER, Role.STUDENT),
        (SectionRole.TESTER, Role.STUDENT),
    ):
        with database.write() as session:
            here = session.get_one(User, user.id)
            assert follow(session, section.id, here, role, LmsSource(LMS, user.id, NOON)) is role
        with database.read() as session:
            assert role_in_section(session, user.id, section.id) is role
            assert session.get_one(User, user.id).role is at_college
    with database.read() as session:
        events = session.scalars(select(AuditEvent).order_by(AuditEvent.number)).all()
        assert [event.detail for event in events] == [
            f"instructor: {LMS} says so",
            f"student, was instructor: {LMS} says so",
            f"instructor, was student: {LMS} says so",
            f"grader, was instructor: {LMS} says so",
            f"test user, was grader: {LMS} says so",
        ]
        assert events[0].action is Action.JOINED_SECTION
        assert {event.action for event in events[1:]} == {Action.CHANGED_ROLE}
        assert {event.person for event in events} == {user.log_id}


def test_a_role_that_was_given_here_stays(database: Database, section: Section) -> None:
    user = made_by_lms(database, section, SectionRole.STUDENT)
    with database.write() as session:
        here = session.get_one(User, user.id)
        enrol(session, session.get_one(Section, section.id), here, SectionRole.GRADER)
        word = LmsSource(LMS, user.id, NOON)
        found = follow(session, section.id, here, SectionRole.STUDENT, word)
        assert found is SectionRole.GRADER
        assert follow_members(session, section.id, {}, word) == []
        assert role_in_section(session, user.id, section.id) is SectionRole.GRADER


def test_an_account_from_here_is_not_made_a_teachers(database: Database, section: Section) -> None:
    with database.write() as session:
        user = make_user(session)
        found = follow(
            session, section.id, user, SectionRole.INSTRUCTOR, LmsSource(LMS, user.id, NOON)
        )
        assert found is SectionRole.GRADER
        assert user.role is Role.STUDENT


def test_a_roster_takes_away_what_the_lms_gave(database: Database, section: Section) -> None:
    teacher, grader, student, demoted = (
        made_by_lms(database, section, role)
        for role in (
            SectionRole.INSTRUCTOR,
            SectionRole.GRADER,
            SectionRole.STUDENT,
            SectionRole.INSTRUCTOR,
        )
    )
    said = {demoted.id: SectionRole.STUDENT, grader.id: None}
    with database.write() as session:
        assert follow_members(session, section.id, said, LmsSource(LMS, teacher.id, NOON)) == []
    with database.read() as session:
        left = {
            row.user_id: row.role
            for row in session.scalars(
                select(Enrolment).where(Enrolment.section_id == section.id, Enrolment.from_lms)
            )
        }
        assert left == {student.id: SectionRole.STUDENT, demoted.id: SectionRole.STUDENT}
        assert session.get_one(User, demoted.id).role is Role.STUDENT
        assert session.get_one(User, teacher.id).role is Role.STUDENT


def test_a_roster_leaves_the_last_instructor(database: Database) -> None:
    with database.write() as session:
        section = make_section(session)
    user = made_by_lms(database, section, SectionRole.INSTRUCTOR)
    with database.write() as session:
        kept = follow_members(session, section.id, {}, LmsSource(LMS, user.id, NOON))
        assert [each.id for each in kept] == [user.id]
        assert role_in_section(session, user.id, section.id) is SectionRole.INSTRUCTOR


def test_a_test_user_is_in_no_figure(database: Database, section: Section) -> None:
    tester = made_by_lms(database, section, SectionRole.TESTER)
    student = made_by_lms(database, section, SectionRole.STUDENT)
    with database.write() as session:
        assignment = make_assignment(session, session.get_one(Section, section.id))
        for user in (tester, student):
            make_marked(session, assignment, user, R1=Status.MET)
    with database.read() as session:
        section = session.get_one(Section, section.id)
        assert [row.student.id for row in gradebook(session, assignment).rows] == [student.id]
        assert len(section_book(session, section, NOON).rows) == 1
        assert progress_of(session, [assignment.id])[assignment.id].submitted == 1
        assert [row.user_id for row in work_of(session, section.course_id)] == [student.id]
        # They see how they stand all the same.
        assert standings_of(session, tester.id, [assignment.id])[assignment.id].points == 1.0
