"""How long people's data is kept, and whose data is past its time."""

from collections.abc import Sequence
from datetime import date, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store.college import UTC_ZONE, College
from server.store.courses import Enrolment, Section, Term
from server.store.people import Role, User


def retention_days(session: Session) -> int | None:
    """Return how many days after the end of their last term people are kept; None: for good."""
    college = session.get(College, 1)
    return None if college is None else college.retention_days


def set_retention(session: Session, days: int | None) -> None:
    """Keep people's data so long after the end of their last term; None keeps it for good."""
    college = session.get(College, 1)
    if college is None:
        college = College(id=1, time_zone=UTC_ZONE.key)
        session.add(college)
    college.retention_days = days


def people_past_retention(session: Session, today: date) -> Sequence[tuple[User, date]]:
    """Return the students whose last term ended too long ago, with its end.

    Whoever is under a legal hold is kept, and so is everybody while no time is set.
    """
    days = retention_days(session)
    if days is None:
        return ()
    last = func.max(Term.ends)
    rows = session.execute(
        select(User, last)
        .join(Enrolment, Enrolment.user_id == User.id)
        .join(Section, Section.id == Enrolment.section_id)
        .join(Term, Term.id == Section.term_id)
        .where(User.role == Role.STUDENT, User.legal_hold.is_(False))
        .group_by(User.id)
        .having(last < today - timedelta(days=days))
        .order_by(User.id)
    )
    return [(user, ends) for user, ends in rows]
