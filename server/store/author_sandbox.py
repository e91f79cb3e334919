"""The author's bench: a section of one person, in which a draft is set for its author alone.

There the author tries the draft as a student would, records scenarios and builds reference
programs. Benches stand in no list of sections.
"""

from datetime import date, datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.assignment_policy import Policy, set_exercise
from server.store.courses import (
    SANDBOX_COURSE,
    Assignment,
    Course,
    Enrolment,
    Section,
    SectionRole,
    Term,
)


def sandbox_assignment(
    session: Session, author_id: int, name: str, title: str, now: datetime
) -> Assignment:
    """Return the draft called ``name``, set on its author's bench.

    Made when it is first asked for.
    """
    section = _sandbox(session, author_id, now.date())
    policy = Policy(opens_at=now, due_at=now + timedelta(days=3650))
    made = set_exercise(session, section.id, name, title, policy, by_id=None, now=now)
    found = made or find_sandbox_assignment(session, author_id, name)
    assert found is not None
    return found


def delete_sandbox(session: Session, author_id: int) -> None:
    """Delete an author's bench, which another user of the same number would find otherwise."""
    course = select(Course.id).where(Course.code == SANDBOX_COURSE).scalar_subquery()
    session.execute(
        delete(Section).where(Section.course_id == course, Section.number == str(author_id))
    )


def find_sandbox_assignment(session: Session, author_id: int, name: str) -> Assignment | None:
    """Return the assignment by which an author has a draft on the bench; None before the first."""
    return session.scalar(
        select(Assignment)
        .join(Section, Section.id == Assignment.section_id)
        .join(Course, Course.id == Section.course_id)
        .where(
            Course.code == SANDBOX_COURSE,
            Section.number == str(author_id),
            Assignment.exercise == name,
        )
    )


def _sandbox(session: Session, author_id: int, today: date) -> Section:
    course = session.scalar(select(Course).where(Course.code == SANDBOX_COURSE))
    if course is None:
        course = Course(code=SANDBOX_COURSE, title="Exercises under way")
        session.add(course)
    term = session.scalar(select(Term).order_by(Term.begins.desc()).limit(1))
    if term is None:
        term = Term(name="Bench", begins=today, ends=today)
        session.add(term)
    session.flush()
    section = session.scalar(
        select(Section).where(Section.course_id == course.id, Section.number == str(author_id))
    )
    if section is None:
        section = Section(course_id=course.id, term_id=term.id, number=str(author_id))
        session.add(section)
        session.flush()
        session.add(
            Enrolment(section_id=section.id, user_id=author_id, role=SectionRole.INSTRUCTOR)
        )
        session.flush()
    return section
