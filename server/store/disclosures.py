"""Who was shown a person's records: the lines of the log that say so."""

from collections.abc import Sequence

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session, aliased

from server.store.audit import SEEING
from server.store.audit_chain import Action, AuditEvent
from server.store.courses import HANDING_IN, Assignment, Course, Enrolment, Section, Term
from server.store.people import User

MAX_DISCLOSURES = 10_000
"""Lines in an export."""

_HANDED_OUT = {Action.TOOK_FILE, Action.EXPORTED_DATA}
_OF_A_SECTION = {Action.SAW_GRADEBOOK, Action.SAW_LIKENESS, Action.TOOK_FILE}


def disclosures_of(
    session: Session, user_id: int, limit: int = 500
) -> Sequence[tuple[AuditEvent, str, str, str]]:
    """Return the newest looks of others at a person's records: line, who, section, exercise.

    A look at a whole section is one at each of its students. What the person exported is among
    them, with their own name.
    """
    me = select(User.log_id).where(User.id == user_id).scalar_subquery()
    sections = select(Enrolment.section_id).where(
        Enrolment.user_id == user_id, Enrolment.role.in_(HANDING_IN)
    )
    actor, course, term = aliased(User), aliased(Course), aliased(Term)
    query = (
        select(AuditEvent, actor.name, course.code, Section.number, term.name, Assignment.title)
        .outerjoin(actor, actor.log_id == AuditEvent.actor)
        .outerjoin(Section, Section.id == AuditEvent.section_id)
        .outerjoin(course, course.id == Section.course_id)
        .outerjoin(term, term.id == Section.term_id)
        .outerjoin(Assignment, Assignment.id == AuditEvent.assignment_id)
        .where(
            or_(
                and_(
                    AuditEvent.person == me,
                    AuditEvent.action.in_(SEEING | _HANDED_OUT),
                ),
                and_(
                    AuditEvent.actor == me,
                    AuditEvent.person.is_(None),
                    AuditEvent.section_id.is_(None),
                    AuditEvent.action == Action.EXPORTED_DATA,
                ),
                and_(
                    AuditEvent.person.is_(None),
                    AuditEvent.section_id.in_(sections),
                    AuditEvent.action.in_(_OF_A_SECTION),
                ),
            )
        )
        .order_by(AuditEvent.number.desc())
        .limit(limit)
    )
    return [
        (
            line,
            name or "erased",
            f"{code} section {number}, {term_name}" if code else "",
            title or "",
        )
        for line, name, code, number, term_name, title in session.execute(query)
    ]
