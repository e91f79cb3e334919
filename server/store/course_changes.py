"""Changing terms, courses and sections, and deleting those that hold nothing."""

from sqlalchemy import func, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.store.courses import (
    SANDBOX_COURSE,
    Assignment,
    Course,
    Enrolment,
    Section,
    SectionRole,
    Term,
    all_terms,
)
from server.store.lti import LtiContext
from server.store.outcome_actions import OutcomeAction
from server.store.outcomes import OutcomeVersion
from server.store.signatures import ReportSignature


def change_in_college(session: Session, row: Term | Course | Section, **columns: object) -> bool:
    """Give a term, course or section these values; return False if their name is another's."""
    try:
        with session.begin_nested():
            for name, value in columns.items():
                setattr(row, name, value)
            session.flush()
    except IntegrityError:
        session.refresh(row)
        return False
    return True


def sections_in(session: Session) -> tuple[dict[int, int], dict[int, int]]:
    """Return the number of sections by term and by course; those without any have no entry."""
    rows = session.execute(
        select(Section.term_id, Section.course_id, func.count())
        .join(Section.course)
        .where(Course.code != SANDBOX_COURSE)
        .group_by(Section.term_id, Section.course_id)
    ).all()
    by_term: dict[int, int] = {}
    by_course: dict[int, int] = {}
    for term_id, course_id, number in rows:
        by_term[term_id] = by_term.get(term_id, 0) + number
        by_course[course_id] = by_course.get(course_id, 0) + number
    return by_term, by_course


def delete_from_college(session: Session, row: Term | Course | Section) -> str:
    """Delete what holds nothing; else change nothing and return a sentence that says what is in it.

    A section with its instructors alone holds nothing.
    """
    refused = _section_refusal(session, row) if isinstance(row, Section) else _holds(session, row)
    if not refused and isinstance(row, Term):
        refused = _move_sandboxes(session, row)
    if not refused:
        session.delete(row)
        session.flush()
    return refused


def _holds(session: Session, row: Term | Course) -> str:
    by_term, by_course = sections_in(session)
    name, held = (
        (row.name, by_term.get(row.id, 0))
        if isinstance(row, Term)
        else (row.code, by_course.get(row.id, 0))
    )
    if not held:
        return _outcome_refusal(session, row) if isinstance(row, Term) else ""
    many = "1 section" if held == 1 else f"{held} sections"
    return f"{name} has {many}, so it was not deleted. Archive it instead."


def _outcome_refusal(session: Session, term: Term) -> str:
    """Return a sentence if outcomes hold from this term on, or findings are about it."""
    found = session.scalar(
        select(OutcomeVersion.id)
        .where(OutcomeVersion.term_id == term.id)
        .union_all(
            select(OutcomeAction.id).where(
                (OutcomeAction.term_id == term.id) | (OutcomeAction.result_term_id == term.id)
            ),
            select(ReportSignature.id).where(ReportSignature.term_id == term.id),
        )
        .limit(1)
    )
    if found is None:
        return ""
    held = "Outcomes, actions or signatures refer to"
    return f"{held} {term.name}, so it was not deleted. Archive it instead."


def _section_refusal(session: Session, section: Section) -> str:
    counts = {
        "exercise": select(func.count()).where(Assignment.section_id == section.id),
        "student": select(func.count()).where(
            Enrolment.section_id == section.id, Enrolment.role == SectionRole.STUDENT
        ),
        "LMS course": select(func.count()).where(LtiContext.section_id == section.id),
    }
    for what, query in counts.items():
        held = session.scalar(query) or 0
        if held:
            many = f"1 {what}" if held == 1 else f"{held} {what}s"
            return f"{section.title} has {many}, so it was not deleted. Archive it instead."
    return ""


def _move_sandboxes(session: Session, term: Term) -> str:
    """Let authors' drafts, which hang on some term, hang on another one."""
    sandbox = select(Course.id).where(Course.code == SANDBOX_COURSE).scalar_subquery()
    here = (Section.term_id == term.id, Section.course_id == sandbox)
    if session.scalar(select(Section.id).where(*here).limit(1)) is None:
        return ""
    other = next((each for each in all_terms(session) if each is not term), None)
    if other is None:
        return f"{term.name} is the only term, and drafts are kept in it. Rename it instead."
    session.execute(update(Section).where(*here).values(term_id=other.id))
    return ""
