"""Who has something due within a day and has not reached all of its points yet."""

from collections import defaultdict
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, and_, or_, select
from sqlalchemy.orm import Session

from server.store.allowances import Accommodation, allowances_from, select_allowances
from server.store.college import time_zone
from server.store.corrections import Excuse
from server.store.courses import Assignment, Enrolment, Extension, Section, SectionRole, Term
from server.store.database import one_at_a_time
from server.store.mail_outbox import MailKind, queue_mail
from server.store.standings import CountingAttempt

SOON = timedelta(days=1)
MOST_MOVED = timedelta(days=90)
"""An accommodation moves a due date by less."""


def due_soon(session: Session, now: datetime) -> dict[tuple[int, int], datetime]:
    """Return what is due within a day, by assignment and student, with the student's own date.

    Who is excused, has withdrawn, does not owe it, or has every point already is left out.
    """
    rows = session.execute(_candidates(now)).all()
    return {
        place: allowance.due_at
        for place, allowance in allowances_from(rows, time_zone(session)).items()
        if allowance.owed and now < allowance.due_at <= now + SOON
    }


def queue_due_soon(session: Session, now: datetime) -> int:
    """Queue a mail for everybody who has something due within a day; how many were queued."""
    # Every process looks; what another one queues meanwhile is not queued again.
    one_at_a_time(session.connection(), "mails on what is due soon")
    together: dict[tuple[int, datetime], list[int]] = defaultdict(list)
    for (assignment_id, user_id), due_at in sorted(due_soon(session, now).items()):
        together[assignment_id, due_at].append(user_id)
    queued = 0
    for (assignment_id, due_at), user_ids in together.items():
        assignment = session.get_one(Assignment, assignment_id)
        about, path = due_at.isoformat(), f"/assignments/{assignment_id}"
        queued += queue_mail(session, MailKind.DUE_SOON, assignment, user_ids, about, path, now)
    return queued


def _candidates(now: datetime) -> Select[*tuple[Any, ...]]:
    """Return the query of allowances that may end within a day."""
    soon = now + SOON
    done = select(CountingAttempt.user_id).where(
        CountingAttempt.assignment_id == Assignment.id,
        CountingAttempt.user_id == Enrolment.user_id,
        CountingAttempt.passed_after.is_not(None),
    )
    excused = select(Excuse.user_id).where(
        Excuse.assignment_id == Assignment.id, Excuse.user_id == Enrolment.user_id
    )
    return (
        select_allowances()
        .join(Section, Section.id == Assignment.section_id)
        .join(Term, Term.id == Section.term_id)
        .where(
            Enrolment.role == SectionRole.STUDENT,
            Section.archived.is_(False),
            Term.archived.is_(False),
            Assignment.opens_at <= now,
            or_(
                Assignment.due_at.between(now, soon),
                Extension.due_at.between(now, soon),
                Enrolment.due_until.between(now, soon),
                and_(
                    Accommodation.id.is_not(None), Assignment.due_at.between(now - MOST_MOVED, soon)
                ),
            ),
            ~done.exists(),
            ~excused.exists(),
        )
    )
