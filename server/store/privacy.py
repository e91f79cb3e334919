"""Erasing a person with all their data; what stays names nobody."""

from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from server.store.attempts import Submission
from server.store.audit import note
from server.store.audit_chain import Action, forget_details
from server.store.author_sandbox import delete_sandbox
from server.store.authored import transfer_exercises
from server.store.courses import Assignment, Partner, lock_work
from server.store.people import User, get_person
from server.store.section_roles import only_instructor_in
from server.store.standings import recount


def hold(session: Session, user: User, held: bool, *, by_id: int, now: datetime) -> None:
    """Keep everything of a person from being erased, or let it go again."""
    user.legal_hold = held
    detail = "begun" if held else "lifted"
    note(session, now, by_id, Action.HELD_DATA, person_id=user.id, detail=detail)


def erasure_refusal(session: Session, user_id: int) -> str:
    """Return the sentence that keeps a person from being erased; empty if nothing does."""
    if get_person(session, user_id).legal_hold:
        return "Nothing was erased. This person is under a legal hold. Lift it first."
    sections = only_instructor_in(session, user_id)
    if not sections:
        return ""
    named = ", ".join(f"{each.title} ({each.term.name})" for each in sections[:5])
    more = f" and {len(sections) - 5} more" if len(sections) > 5 else ""
    return (
        f"Nothing was erased. This person is the only instructor of {named}{more}. "
        "Add another instructor on the roster first."
    )


def erase_person(
    session: Session,
    user_id: int,
    *,
    by_id: int | None,
    now: datetime,
    successor_id: int | None = None,
) -> None:
    """Delete a person and their work; nothing that is anybody else's changes.

    What they published goes to the successor, to the college if None. What they submitted as one of
    a pair stays with the partner. The log keeps what was done, but not to whom.
    """
    note(session, now, by_id, Action.ERASED_PERSON, person_id=user_id)
    left = _leave_to_partners(session, user_id)
    transfer_exercises(session, user_id, successor_id)
    delete_sandbox(session, user_id)
    # What was written down about them may name them.
    forget_details(session, session.get_one(User, user_id).log_id)
    session.execute(delete(User).where(User.id == user_id))
    session.expire_all()
    for assignment, partner_id in left:
        recount(session, assignment, [partner_id])


def _leave_to_partners(session: Session, user_id: int) -> list[tuple[Assignment, int]]:
    """Make the attempts of each pair the partner's; return where, and who that is.

    They get the numbers after the partner's own, which stay as they are.
    """
    left = []
    for assignment, partner_id in session.execute(
        select(Assignment, Partner.partner_id)
        .join(Partner, Partner.assignment_id == Assignment.id)
        .where(Partner.user_id == user_id, Assignment.in_pairs)
    ).all():
        for each in sorted((user_id, partner_id)):
            lock_work(session, assignment, each)
        at_it = Submission.assignment_id == assignment.id
        last = session.scalar(
            select(func.max(Submission.attempt)).where(at_it, Submission.user_id == partner_id)
        )
        session.execute(
            update(Submission)
            .where(at_it, Submission.user_id == user_id)
            .values(user_id=partner_id, attempt=Submission.attempt + (last or 0))
            .execution_options(synchronize_session=False)
        )
        left.append((assignment, partner_id))
    return left
