"""Setting exercises for a section: the policy of an assignment, more time, partners.

Whatever changes here may change which attempt counts, so the standings are counted anew.
"""

from dataclasses import asdict, dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import (
    KEEPS_WORK,
    Assignment,
    Counting,
    Enrolment,
    Extension,
    Feedback,
    Partner,
    Section,
)
from server.store.mail_outbox import MailKind, queue_mail
from server.store.people import User
from server.store.programs import WorkingProgram
from server.store.sittings import new_pass_code, retime_sittings, somebody_sits
from server.store.standings import lock_counting, recount


@dataclass(frozen=True, slots=True)
class Policy:
    """What an instructor says of an assignment; meanings as in ``Assignment``."""

    opens_at: datetime
    due_at: datetime
    closes_at: datetime | None = None
    attempts: int | None = None
    counting: Counting = Counting.BEST
    feedback: Feedback = Feedback.CHART
    feedback_from_attempt: int = 1
    feedback_after_due: bool = False
    weight: float = 1.0
    late_per_day: float = 0.0
    in_pairs: bool = False
    cause_once: bool = False
    sitting_minutes: int | None = None


def set_exercise(
    session: Session,
    section_id: int,
    exercise: str,
    title: str,
    policy: Policy,
    *,
    by_id: int | None,
    now: datetime,
) -> Assignment | None:
    """Set an exercise for a section; return None if it is set there already.

    ``by_id`` is who set it, as the log has it; None for what no person set for a class: the demo,
    and drafts in their author's sandbox.
    """
    there = select(Assignment.id).where(
        Assignment.section_id == section_id, Assignment.exercise == exercise
    )
    if session.scalar(there) is not None:
        return None
    assignment = Assignment(section_id=section_id, exercise=exercise, title=title, **asdict(policy))
    session.add(assignment)
    session.flush()
    if by_id is not None:
        note(session, now, by_id, Action.SET_EXERCISE, section_id, assignment_id=assignment.id)
    if assignment.is_supervised:
        new_pass_code(session, assignment, by_id=None, now=now)
    return assignment


class PolicyRefusal(StrEnum):
    """Why a policy does not hold, in the words that the instructor reads."""

    BEGUN = (
        "Students have begun this exercise, so it can't become a supervised lab: they would go on "
        "with what they have. Set another exercise as the lab."
    )
    SITTING = (
        "Students sit at this lab right now, so it stays supervised. Change its minutes, or take "
        "them away once the last sitting is over."
    )


def change_policy(
    session: Session, assignment: Assignment, policy: Policy, *, by_id: int, now: datetime
) -> PolicyRefusal | None:
    """Let another policy hold, also for what was handed in before; or return why it can't."""
    becomes_supervised = policy.sitting_minutes is not None and not assignment.is_supervised
    if becomes_supervised and _is_begun(session, assignment):
        return PolicyRefusal.BEGUN
    if policy.sitting_minutes is None and somebody_sits(session, assignment):
        return PolicyRefusal.SITTING
    for name, value in asdict(policy).items():
        setattr(assignment, name, value)
    session.flush()
    note(
        session,
        now,
        by_id,
        Action.CHANGED_POLICY,
        assignment.section_id,
        assignment_id=assignment.id,
    )
    if becomes_supervised:
        new_pass_code(session, assignment, by_id=None, now=now)
    retime_sittings(session, assignment)
    recount(session, assignment)
    return None


def _is_begun(session: Session, assignment: Assignment) -> bool:
    """Return whether a student has a program at an assignment."""
    begun = (
        select(WorkingProgram.id)
        .join(
            Enrolment,
            (Enrolment.user_id == WorkingProgram.user_id)
            & (Enrolment.section_id == assignment.section_id),
        )
        .where(WorkingProgram.assignment_id == assignment.id, Enrolment.role.in_(KEEPS_WORK))
    )
    return session.scalar(select(begun.exists())) is True


def permit_extra_credit(
    session: Session, section: Section, permitted: bool, *, by_id: int, now: datetime
) -> None:
    """Let points set by hand exceed those of an exercise from now on, or no longer."""
    section.extra_credit = permitted
    detail = "extra credit permitted" if permitted else "extra credit no longer permitted"
    note(session, now, by_id, Action.CHANGED_POLICY, section.id, detail=detail)


def give_time(
    session: Session,
    assignment: Assignment,
    user_id: int,
    due_at: datetime,
    reason: str,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Give one student a later due date."""
    session.merge(
        Extension(assignment_id=assignment.id, user_id=user_id, due_at=due_at, reason=reason)
    )
    note(
        session,
        now,
        by_id,
        Action.GAVE_TIME,
        assignment.section_id,
        assignment_id=assignment.id,
        person_id=user_id,
        detail=f"until {due_at:%Y-%m-%d %H:%M} UTC: {reason}",
    )
    session.flush()
    about, path = due_at.isoformat(), f"/assignments/{assignment.id}"
    queue_mail(session, MailKind.MORE_TIME, assignment, [user_id], about, path, now)
    retime_sittings(session, assignment, user_id)
    recount(session, assignment, [user_id])


def pair_up(
    session: Session,
    assignment: Assignment,
    first: int,
    second: int | None,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Let two students work together, each leaving a partner they had; with None, let one alone."""
    # A submission that has begun counts the attempts of the partner it found.
    lock_counting(session, assignment)
    ids = [id for id in (first, second) if id is not None]
    session.execute(
        delete(Partner).where(
            Partner.assignment_id == assignment.id,
            Partner.user_id.in_(ids) | Partner.partner_id.in_(ids),
        )
    )
    if second is not None and second != first:
        session.add_all(
            Partner(assignment_id=assignment.id, user_id=one, partner_id=other)
            for one, other in ((first, second), (second, first))
        )
    for each in ids:
        note(
            session,
            now,
            by_id,
            Action.UNPAIRED if second is None else Action.PAIRED,
            assignment.section_id,
            assignment_id=assignment.id,
            person_id=each,
        )
    session.flush()
    recount(session, assignment)


def extension_of(session: Session, assignment_id: int, user_id: int) -> Extension | None:
    """Return the later due date that a student was given at an assignment, if they were."""
    return session.get(Extension, (assignment_id, user_id))


def extensions_of(session: Session, assignment_id: int) -> list[tuple[Extension, User]]:
    """Return who was given more time, by name."""
    rows = session.execute(
        select(Extension, User)
        .join(User, User.id == Extension.user_id)
        .where(Extension.assignment_id == assignment_id)
        .order_by(User.listed_as)
    )
    return [(extension, user) for extension, user in rows]
