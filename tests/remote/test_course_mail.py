"""Mails about course work, read back from a real SMTP server: once, or not at all."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from email.message import Message
from typing import Any

import pytest

from server.marking.verdict import Status
from server.marking.verdict_form import to_json
from server.remote.course_mail import CourseMail
from server.settings import MailServer, Settings
from server.store.assignment_policy import give_time
from server.store.college import set_time_zone
from server.store.corrections import comment, excuse
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.database import Database
from server.store.due_soon import due_soon
from server.store.mail_outbox import MailKind, choose_mails, mails_now
from server.store.people import User
from server.store.regrades import replace_verdicts
from server.store.student_changes import Profile, add_accommodation
from tests.factories import (
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_user,
    make_verdict,
)
from tests.mail_server import Letters, mail_server

MET, NOT_MET = Status.MET, Status.NOT_MET
SITE = "https://lab.larkmoor.example"
LATER = timedelta(minutes=11)


@pytest.fixture
def letters() -> Iterator[Letters]:
    with mail_server() as letters:
        yield letters


@pytest.fixture
def settings(letters: Letters, database: Database) -> Settings:
    return Settings(
        database_url=database.place,
        public_urls=(SITE,),
        mail_server=letters.server,
        mail_from="lab@larkmoor.example",
    )


@pytest.fixture
def course(database: Database) -> tuple[Assignment, User, User]:
    """An assignment that is due in a week, its student and its instructor."""
    with database.write() as session:
        set_time_zone(session, "America/Chicago")
        student, teacher = make_user(session), make_user(session)
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        return make_assignment(session, section, title="Apple wash sump"), student, teacher


def text_of(message: Message) -> str:
    found = message.get_payload(decode=True)
    assert isinstance(found, bytes)
    return found.decode().replace("\r\n", "\n")


def give_reasons(database: Database, assignment: Assignment, student: User, teacher: User) -> None:
    """More time, two comments on one submission, and two attempts that are marked again."""
    by: dict[str, Any] = {"by_id": teacher.id, "now": NOON}
    with database.write() as session:
        assignment = session.merge(assignment)
        give_time(session, assignment, student.id, NOON + timedelta(days=9), "was ill", **by)
        attempts = [make_marked(session, assignment, student, n, R1=NOT_MET) for n in (1, 2)]
        for rung in (0, 1):
            comment(session, attempts[0], rung, "Look at the stop contact.", **by)
        verdict = make_verdict(R1=MET)
        new = [(each.id, verdict, to_json(verdict)) for each in attempts]
        assert replace_verdicts(session, new, NOON, may_fall=True) == 2


def test_each_piece_of_news_is_one_mail_with_no_secret_in_it(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
) -> None:
    give_reasons(database, *course)
    mail = CourseMail(database, settings)
    assert mail.send_due(NOON) == 2
    assert mail.send_due(NOON + LATER) == 1
    assert mail.send_due(NOON + 2 * LATER) == 0
    found = {message["Subject"]: text_of(message) for _, message in letters.taken}
    assert len(letters.taken) == len(found) == 3
    assert {tuple(to) for to, _ in letters.taken} == {(course[1].email,)}
    assert {message["From"] for _, message in letters.taken} == {"lab@larkmoor.example"}
    # October 14 at noon in Greenwich is 7 o'clock of daylight time in Chicago.
    assert "until Wednesday, October 14, 07:00 CDT" in found["More time for Apple wash sump"]
    assert f"{SITE}/submissions/1\n" in found["A comment on Apple wash sump"]
    assert f"{SITE}/submissions/1\n" in found["Marked again: Apple wash sump"]
    for text in found.values():
        assert f"{SITE}/mail\n" in text
        assert not any(word in text for word in ("ill", "stop contact", "point"))


def test_what_somebody_turned_off_is_not_sent(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
) -> None:
    with database.write() as session:
        choose_mails(session, course[1].id, {MailKind.COMMENT, MailKind.MARKED_AGAIN})
    give_reasons(database, *course)
    with database.write() as session:
        choose_mails(session, course[1].id, {MailKind.COMMENT})
        # Whoever set the exercise may have written a header of their own into its title.
        session.get_one(Assignment, course[0].id).title = "Sump\r\nBcc: all@larkmoor.example"
    CourseMail(database, settings).send_due(NOON + LATER)
    ((to, message),) = letters.taken
    assert (to, message["Bcc"]) == ([course[1].email], None)
    assert message["Subject"] == "A comment on Sump Bcc: all@larkmoor.example"


def test_a_server_that_is_away_is_tried_again_and_gets_each_mail_once(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
) -> None:
    give_reasons(database, *course)
    away = replace(settings, mail_server=MailServer("127.0.0.1", 1, False, "", ""))
    assert CourseMail(database, away).send_due(NOON) == 0
    with database.read() as session:
        assert mails_now(session).waiting == 3
        assert mails_now(session).trouble.startswith("The mail server did not take it")
    mail = CourseMail(database, settings)
    assert mail.send_due(NOON + timedelta(seconds=29)) == 0
    letters.answers = ["451 try again later"]
    assert mail.send_due(NOON + timedelta(seconds=31)) == 1
    assert mail.send_due(NOON + LATER) == 2
    assert mail.send_due(NOON + timedelta(days=1)) == 0
    ids = [message["Message-ID"] for _, message in letters.taken]
    assert len(ids) == len(set(ids)) == 3
    with database.read() as session:
        assert mails_now(session).waiting == 0


@pytest.mark.parametrize("answer", [None, "550 no such person"])
def test_what_may_be_sent_or_is_refused_for_good_is_not_tried_again(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
    answer: str | None,
) -> None:
    give_reasons(database, *course)
    mail = CourseMail(database, settings)
    letters.answers = [answer, answer]
    assert mail.send_due(NOON) == 0
    assert mail.send_due(NOON + timedelta(hours=3)) == 1
    assert mail.send_due(NOON + timedelta(days=1)) == 0
    # The server that was lost had two of them; the comment came last.
    assert len(letters.taken) == (3 if answer is None else 1)


def test_old_news_is_given_up(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
) -> None:
    give_reasons(database, *course)
    with database.write() as session:
        choose_mails(session, course[1].id, set(MailKind) - {MailKind.DUE_SOON})
    assert CourseMail(database, settings).send_due(NOON + timedelta(days=3)) == 0
    assert letters.taken == []


def test_who_is_told_that_something_is_due(
    database: Database,
    course: tuple[Assignment, User, User],
    settings: Settings,
    letters: Letters,
) -> None:
    assignment, student, teacher = course
    by: dict[str, Any] = {"by_id": teacher.id, "now": NOON}
    with database.write() as session:
        assignment = session.merge(assignment)
        section, due_at = assignment.section, assignment.due_at
        people = {}
        for name in ("done", "tried", "excused", "withdrawn", "extended", "slower"):
            people[name] = make_user(session)
            role = SectionRole.WITHDRAWN if name == "withdrawn" else SectionRole.STUDENT
            session.add(Enrolment(section_id=section.id, user_id=people[name].id, role=role))
        session.flush()
        make_marked(session, assignment, people["done"], R1=MET)
        make_marked(session, assignment, people["tried"], R1=NOT_MET)
        excuse(session, assignment, people["excused"].id, "ill", **by)
        later = due_at + timedelta(days=3)
        give_time(session, assignment, people["extended"].id, later, "ill", **by)
        choose_mails(session, people["extended"].id, {MailKind.DUE_SOON})
        profile = Profile(1.0, 2, 0, NOON - timedelta(days=9), NOON + timedelta(days=99), "")
        add_accommodation(session, section.id, people["slower"].id, profile, **by)
        own = {
            "class": {student.id, people["tried"].id},
            "slower": {people["slower"].id},
            "extended": {people["extended"].id},
        }
    before = due_at - timedelta(hours=20)
    for days, who in ((-1, set()), (0, own["class"]), (2, own["slower"]), (3, own["extended"])):
        with database.read() as session:
            found = due_soon(session, before + timedelta(days=days))
        assert {user for _, user in found} == who, days
    mail = CourseMail(database, settings)
    assert mail.send_due(before) == 2
    assert mail.send_due(before + timedelta(hours=1)) == 0
    text = text_of(letters.taken[0][1])
    assert letters.taken[0][1]["Subject"] == "Due soon: Apple wash sump"
    assert "is due Monday, October 12, 07:00 CDT." in text
    assert f"{SITE}/assignments/{assignment.id}\n" in text
