"""What an instructor changes for one student; standings and scores follow."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from server.store.allowances import Accommodation
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import (
    HANDING_IN,
    KEEPS_WORK,
    Enrolment,
    SectionRole,
    assignments_of,
    sections_of,
)
from server.store.lti_outbox import queue_scores
from server.store.sittings import retime_sittings
from server.store.standings import recount


@dataclass(frozen=True, slots=True)
class Profile:
    """What a student is given for what is due between two moments; see ``Accommodation``."""

    time_factor: float
    extra_days: int
    extra_attempts: int
    begins_at: datetime
    ends_at: datetime
    note: str


def add_accommodation(
    session: Session, section_id: int, user_id: int, profile: Profile, *, by_id: int, now: datetime
) -> None:
    """Give a student a profile, in all their sections. The log has that it was done, not what."""
    session.add(
        Accommodation(
            user_id=user_id,
            time_factor=profile.time_factor,
            extra_days=profile.extra_days,
            extra_attempts=profile.extra_attempts,
            begins_at=profile.begins_at,
            ends_at=profile.ends_at,
            note=profile.note,
            by_id=by_id,
            at=now,
        )
    )
    note(session, now, by_id, Action.CHANGED_ACCOMMODATIONS, section_id, person_id=user_id)
    _follow(session, user_id, now)


def remove_accommodation(
    session: Session, section_id: int, user_id: int, which: int, *, by_id: int, now: datetime
) -> None:
    """Take a profile away; nothing happens if the student has no such profile."""
    found = session.get(Accommodation, which)
    if found is None or found.user_id != user_id:
        return
    session.delete(found)
    note(session, now, by_id, Action.CHANGED_ACCOMMODATIONS, section_id, person_id=user_id)
    _follow(session, user_id, now)


def withdraw_student(
    session: Session, section_id: int, user_id: int, *, by_id: int, now: datetime
) -> None:
    """Let a student be withdrawn: their work is kept, and is in no figure."""
    _set_role(session, section_id, user_id, SectionRole.WITHDRAWN, by_id, now)


def set_incomplete(
    session: Session, section_id: int, user_id: int, until: datetime, *, by_id: int, now: datetime
) -> None:
    """Let a student finish the section by a date: nothing is late, and the report waits."""
    detail = f"incomplete, due {until:%Y-%m-%d %H:%M} UTC"
    _set_due_until(session, section_id, user_id, until, True, detail, by_id, now)


def complete_student(
    session: Session, section_id: int, user_id: int, *, by_id: int, now: datetime
) -> None:
    """Let an incomplete be completed: the later date stays, and the report counts the student."""
    until = session.get_one(Enrolment, (section_id, user_id)).due_until
    _set_due_until(session, section_id, user_id, until, False, "completed", by_id, now)


def enroll_again(
    session: Session, section_id: int, user_id: int, *, by_id: int, now: datetime
) -> None:
    """Take back that a student is withdrawn or incomplete."""
    if session.get_one(Enrolment, (section_id, user_id)).role is SectionRole.WITHDRAWN:
        _set_role(session, section_id, user_id, SectionRole.STUDENT, by_id, now)
    else:
        detail = "no longer incomplete"
        _set_due_until(session, section_id, user_id, None, False, detail, by_id, now)


def set_owes_from(
    session: Session,
    section_id: int,
    user_id: int,
    owes_from: datetime | None,
    *,
    by_id: int,
    now: datetime,
) -> None:
    """Let a student owe what opens from this moment on; None: everything."""
    session.get_one(Enrolment, (section_id, user_id)).owes_from = owes_from
    since = f"what opens from {owes_from:%Y-%m-%d %H:%M} UTC on" if owes_from else "everything"
    detail = f"owes {since}"
    note(
        session, now, by_id, Action.CHANGED_ENROLMENT, section_id, person_id=user_id, detail=detail
    )
    _follow(session, user_id, now)


def _set_due_until(
    session: Session,
    section_id: int,
    user_id: int,
    until: datetime | None,
    incomplete: bool,
    detail: str,
    by_id: int,
    now: datetime,
) -> None:
    enrolment = session.get_one(Enrolment, (section_id, user_id))
    enrolment.due_until, enrolment.incomplete = until, incomplete
    note(
        session, now, by_id, Action.CHANGED_ENROLMENT, section_id, person_id=user_id, detail=detail
    )
    _follow(session, user_id, now)


def _set_role(
    session: Session, section_id: int, user_id: int, role: SectionRole, by_id: int, now: datetime
) -> None:
    enrolment = session.get_one(Enrolment, (section_id, user_id))
    if enrolment.role is role or enrolment.role not in KEEPS_WORK:
        return
    # What a person here decides, an LMS does not change.
    enrolment.role, enrolment.from_lms = role, False
    detail = f"as {role.value}"
    note(session, now, by_id, Action.CHANGED_ROLE, section_id, person_id=user_id, detail=detail)
    _follow(session, user_id, now)


def _follow(session: Session, user_id: int, now: datetime) -> None:
    """Bring the standings and scores of a student up to date, in all their sections."""
    session.flush()
    places = {section.id: role for section, role in sections_of(session, user_id)}
    for assignment in assignments_of(session, list(places)):
        retime_sittings(session, assignment, user_id)
        recount(session, assignment, [user_id])
        if places[assignment.section_id] in HANDING_IN:
            queue_scores(session, assignment, [user_id], now)
