"""The lines of the log as people read them: with names in place of log ids."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.audit_chain import AuditEvent
from server.store.courses import Assignment
from server.store.people import User


def events_of(
    session: Session, section_id: int, student_id: int | None = None, limit: int = 200
) -> Sequence[tuple[AuditEvent, str, str, str]]:
    """Return the newest lines of a section: event, who, about whom, title of the assignment."""
    actor = select(User.log_id, User.listed_as).subquery()
    person = select(User.id, User.log_id, User.listed_as).subquery()
    query = (
        select(AuditEvent, actor.c.listed_as, person.c.listed_as, Assignment.title)
        .outerjoin(actor, actor.c.log_id == AuditEvent.actor)
        .outerjoin(person, person.c.log_id == AuditEvent.person)
        .outerjoin(Assignment, Assignment.id == AuditEvent.assignment_id)
        .where(AuditEvent.section_id == section_id)
        .order_by(AuditEvent.number.desc())
        .limit(limit)
    )
    if student_id is not None:
        query = query.where(person.c.id == student_id)
    return [
        (
            line,
            who or name_of_nobody(line.actor),
            whom or (name_of_nobody(line.person) if line.person else ""),
            title or "",
        )
        for line, who, whom, title in session.execute(query)
    ]


def name_of_nobody(log_id: str | None) -> str:
    """Return what stands in place of a name that is not there."""
    return "erased" if log_id else "nobody signed in"
