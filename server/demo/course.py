"""The demo course: Larkmoor Technical Institute, which does not exist. All of it is invented.

Due dates lie around the day on which the demo is loaded, so that there is always something open.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.demo.lab_seats import fill_lab, lab_policy
from server.demo.outcomes import load_outcomes, sign_reports
from server.demo.people import INSTRUCTOR, STAFF, STUDENT, STUDENTS, address_of
from server.demo.work import marked_programs, similar_programs, submit_all
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue
from server.paths import EXERCISES
from server.store.assignment_policy import Policy, give_time, set_exercise
from server.store.college import time_zone
from server.store.comment_snippets import add_snippet
from server.store.corrections import comment, excuse, set_points
from server.store.courses import (
    Assignment,
    Course,
    Enrolment,
    Section,
    SectionRole,
    Term,
    students_of,
)
from server.store.database import DatabaseTrouble
from server.store.gradebook import standings_in
from server.store.hand_marks import results_of, set_result
from server.store.holidays import Holiday, set_holidays
from server.store.mail_outbox import OutgoingMail
from server.store.people import Role, User, hash_password
from server.store.student_changes import (
    Profile,
    add_accommodation,
    set_incomplete,
    set_owes_from,
    withdraw_student,
)
from server.store.submissions import find_submission

PASSWORD = "larkmoor-lab"


def is_loaded(session: Session) -> bool:
    """Return whether the demo course is there. Raises DatabaseTrouble where other people are."""
    emails = set(session.scalars(select(User.email)))
    if emails and STUDENT not in emails:
        raise DatabaseTrouble(
            "The database holds a real course, so the demo was not loaded into it. "
            "Name another folder with --data, or leave --demo away."
        )
    return STUDENT in emails


def load_demo(
    session: Session,
    exercises: Sequence[Exercise],
    now: datetime,
    folder: Path = EXERCISES,
    say: Callable[[str], None] = print,
) -> bool:
    """Load the demo course with its marks; False, and nothing is changed, if it is there already.

    ``folder`` holds the exercises with their reference programs, which the students hand in;
    ``say`` is told how far it is. Raises DatabaseTrouble for a database with other people in it.
    """
    if is_loaded(session):
        return False
    # Due dates are times of day there.
    now = now.astimezone(time_zone(session))
    sections = _sections(session, now.date())
    _people(session, sections)
    set_work = []
    programs = {}
    for place, each in enumerate(exercises, 1):
        say(f"Marking the demo's submissions: exercise {place} of {len(exercises)}")
        programs[each.slug] = marked_programs(each, folder / each.slug)
    for number, section in sections.items():
        students = students_of(session, section.id)
        for place, exercise in enumerate(exercises):
            policy = _policy(place, len(exercises), now, number)
            if number == "01" and 0 < place == len(exercises) - 1:
                policy = lab_policy(now)
            assignment = set_exercise(
                session, section.id, exercise.slug, exercise.title, policy, by_id=None, now=now
            )
            assert assignment is not None, "each exercise is set once"
            set_work.append((assignment, programs[exercise.slug], students))
    alike = [similar_programs(each, programs[each.slug]) for each in exercises[:1]]
    submit_all(session, set_work, now, alike[0] if alike else None)
    if set_work:
        _by_hand(session, set_work[0][0], now)
        _agreements(session, sections, set_work[0][0], now)
    for lab, marked, students in set_work:
        if lab.is_supervised:
            fill_lab(session, lab, students, marked, now)
    terms = [sections[n] for n in ("000", "00", "01")]
    load_outcomes(session, exercises, terms, now)
    sign_reports(session, Catalogue(folder), terms[:-1], now)
    # Nobody there reads mail.
    session.execute(delete(OutgoingMail))
    session.flush()
    return True


def _sections(session: Session, today: date) -> dict[str, Section]:
    """Make two sections of today's term, "00" of the term before and "000" of the one before it."""
    year = today.year
    spring = Term(name=f"Spring {year}", begins=date(year, 1, 1), ends=date(year, 6, 30))
    fall = Term(name=f"Fall {year}", begins=date(year, 7, 1), ends=date(year, 12, 31))
    last = Term(name=f"Fall {year - 1}", begins=date(year - 1, 7, 1), ends=date(year - 1, 12, 31))
    first = Term(name=f"Spring {year - 1}", begins=date(year - 1, 1, 1), ends=date(year - 1, 6, 30))
    earlier, before, term = (last, spring, fall) if today >= fall.begins else (first, last, spring)
    course = Course(code="AUT 131", title="Control logic laboratory")
    session.add_all([before, term, course])
    session.flush()
    session.add(earlier)
    session.flush()
    set_holidays(session, term, _holidays(term))
    sections = {
        "01": Section(course_id=course.id, term_id=term.id, number="01", join_code="PRESS-01"),
        "02": Section(course_id=course.id, term_id=term.id, number="02", join_code="PRESS-02"),
        "00": Section(course_id=course.id, term_id=before.id, number="01"),
        "000": Section(course_id=course.id, term_id=earlier.id, number="01"),
    }
    session.add_all(sections.values())
    session.flush()
    return sections


def _holidays(term: Term) -> list[Holiday]:
    """Return a week's break in the middle of the term, and a Friday off some weeks before."""
    middle = term.begins + (term.ends - term.begins) / 2
    monday = middle - timedelta(days=middle.weekday())
    friday = monday - timedelta(weeks=4, days=-4)
    return [
        Holiday(friday, friday, "Press house open day"),
        Holiday(monday, monday + timedelta(days=4), "Break"),
    ]


def _people(session: Session, sections: dict[str, Section]) -> None:
    password_hash = hash_password(PASSWORD)

    def enrol(name: str, listed_as: str, address: str, role: Role, numbers: Sequence[str]) -> None:
        user = User(
            email=f"{address}@larkmoor.example",
            name=name,
            listed_as=listed_as,
            role=role,
            password_hash=password_hash,
        )
        session.add(user)
        session.flush()
        in_section = SectionRole.STUDENT if role is Role.STUDENT else SectionRole.INSTRUCTOR
        session.add_all(
            Enrolment(section_id=sections[number].id, user_id=user.id, role=in_section)
            for number in numbers
        )

    for name, listed_as, number in STUDENTS:
        enrol(name, listed_as, address_of(name), Role.STUDENT, (number,))
    for staff in STAFF:
        enrol(*staff)


def _policy(place: int, exercises: int, now: datetime, number: str) -> Policy:
    """Set one exercise a week; two of three are due already, the terms before are long over."""
    due_already = max(1, exercises * 2 // 3)
    ended = {"00": exercises + 22, "000": exercises + 48}
    weeks = place - ended.get(number, due_already)
    due = (now + timedelta(weeks=weeks, days=2)).replace(
        hour=23, minute=59, second=0, microsecond=0
    )
    return Policy(opens_at=due - timedelta(weeks=3), due_at=due, late_per_day=0.1)


def _by_hand(session: Session, assignment: Assignment, now: datetime) -> None:
    """Add what a teacher does: points set by hand, a comment, more time for one student."""
    teacher = session.scalars(select(User).where(User.email == INSTRUCTOR)).one()
    standings = standings_in(session, assignment)
    short = [
        (user_id, found)
        for user_id, found in standings.items()
        if found.points is not None and not found.complete
    ]
    if len(short) < 3:
        return
    (first, found), (_, commented), (third, _) = short[:3]
    reason = "Shown at the bench: the wire of the stop push-button was loose."
    points = min((found.points or 0.0) + 1, found.max_score or 0.0)
    set_points(session, assignment, first, points, reason, by_id=teacher.id, now=now)
    submission = find_submission(session, commented.submission_id or 0)
    if submission is not None:
        text = "Which contact stops the pump when the stop push-button is pressed?"
        comment(session, submission, 0, text, by_id=teacher.id, now=now)
        result = next(each for each in results_of(session, submission.id) if each.score == 0)
        text = "The lamp of the bench was broken; the program drives it."
        set_result(session, submission, result, result.max_score, text, by_id=teacher.id, now=now)
        add_snippet(session, teacher.id, "Say in the comment of each rung *what it is for*.")
    due = assignment.due_at + timedelta(days=5)
    reason = "Was ill in the week of the lab."
    give_time(session, assignment, third, due, reason, by_id=teacher.id, now=now)


def _agreements(
    session: Session, sections: dict[str, Section], first: Assignment, now: datetime
) -> None:
    """Let students' lives differ: accommodations, an excuse, a withdrawal, an incomplete."""
    teacher = session.scalars(select(User).where(User.email == INSTRUCTOR)).one()
    by: dict[str, Any] = {"by_id": teacher.id, "now": now}
    of = {number: students_of(session, section.id) for number, section in sections.items()}
    term = sections["01"].term
    begins = datetime.combine(term.begins, time.min, now.tzinfo)
    ends = datetime.combine(term.ends, time(23, 59, 59), now.tzinfo)
    note = "Letter of the accessibility office; time and a half in lab hours."
    profile = Profile(1.5, 2, 1, begins, ends, note)
    add_accommodation(session, sections["01"].id, of["01"][6].id, profile, **by)
    reason = "On the excursion of the press house apprentices."
    excuse(session, first, of["01"][4].id, reason, **by)
    withdraw_student(session, sections["02"].id, of["02"][-1].id, **by)
    since = now - timedelta(weeks=3)
    set_owes_from(session, sections["02"].id, of["02"][-2].id, since, **by)
    until = now + timedelta(weeks=4)
    set_incomplete(session, sections["00"].id, of["00"][-1].id, until, **by)


def accounts() -> str:
    """Return the demo accounts, one a line, for whoever starts the demo."""
    sections = {
        "01": "01",
        "02": "02",
        "00": "01 of the term before",
        "000": "01 of an earlier term",
    }
    people = [
        (f"{Role.STUDENT.value}, section 01", STUDENT),
        (f"{Role.STUDENT.value}, section 02", "malik.thornbury@larkmoor.example"),
        *(
            (
                ", section ".join(
                    [role.value, *([" and ".join(sections[n] for n in numbers)] if numbers else [])]
                ),
                f"{address}@larkmoor.example",
            )
            for _, _, address, role, numbers in STAFF
        ),
        ("the password of each", PASSWORD),
    ]
    width = max(len(what) for what, _ in people) + 2
    lines = "\n".join(f"  {what:<{width}}{word}" for what, word in people)
    return (
        f"The demo course AUT 131 of Larkmoor Technical Institute: all of it is invented.\n{lines}"
    )
