"""Roles in a section that follow what an LMS says, at each launch and each reading of its roster.

A role that a person here has given is theirs to change; the LMS only changes what it gave itself.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import (
    TEACHING,
    Enrolment,
    Section,
    SectionRole,
    assignments_of,
    sections_of,
)
from server.store.people import Origin, Role, User
from server.store.roster import enrol, leave_section
from server.store.standings import recount


@dataclass(frozen=True, slots=True)
class LmsSource:
    """That an LMS says something now; ``actor_id`` is who came from it, or asked it."""

    lms: str
    actor_id: int
    now: datetime


def follow(
    session: Session, section_id: int, user: User, role: SectionRole, word: LmsSource
) -> SectionRole:
    """Give somebody the role that the LMS says; return what they are in the section.

    An account that the LMS has made teaches and stops teaching by its word; any other
    student's account can't teach, but can help with the marking.
    """
    if role is SectionRole.INSTRUCTOR and user.role is Role.STUDENT:
        if user.origin is Origin.LMS:
            user.role = Role.INSTRUCTOR
        else:
            role = SectionRole.GRADER
    before = session.get(Enrolment, (section_id, user.id))
    if before is not None and not before.from_lms:
        return before.role
    if before is None or before.role is not role:
        _note(session, section_id, user, role, before, word)
        enrol(
            session, session.get_one(Section, section_id), user, role, from_lms=True, now=word.now
        )
        _recount(session, section_id, user)
    _settle_account(session, user)
    return role


def follow_members(
    session: Session, section_id: int, said: Mapping[int, SectionRole | None], word: LmsSource
) -> list[User]:
    """Bring the roles that the LMS gave to what its roster says; ``said`` is by user id.

    Who teaches here by the LMS's word and is not in its roster any more, or there as nothing that
    is known here, leaves the section. Students stay: the roster's page asks about them. Return who
    stays although they should leave, because the section would have no instructor.
    """
    kept = []
    rows = session.execute(
        select(User, Enrolment)
        .join(Enrolment, Enrolment.user_id == User.id)
        .where(Enrolment.section_id == section_id, Enrolment.from_lms)
        .order_by(User.id)
    ).all()
    for user, enrolment in rows:
        role = said.get(user.id)
        if role is not None:
            follow(session, section_id, user, role, word)
        elif enrolment.role in TEACHING:
            if _is_last(session, section_id, user):
                kept.append(user)
                continue
            withdraw(session, section_id, user, word)
    return kept


def withdraw(session: Session, section_id: int, user: User, word: LmsSource) -> None:
    """Take somebody out of the section who teaches there by the LMS's word alone."""
    enrolment = session.get(Enrolment, (section_id, user.id))
    if enrolment is None or not enrolment.from_lms or enrolment.role not in TEACHING:
        return
    _note(session, section_id, user, None, enrolment, word)
    leave_section(session, session.get_one(Section, section_id), [user.id])
    _settle_account(session, user)


def _note(
    session: Session,
    section_id: int,
    user: User,
    after: SectionRole | None,
    before: Enrolment | None,
    word: LmsSource,
) -> None:
    """Write a change of role into the log; ``after`` None: they leave the section."""
    was = f", was {before.role.value}" if before else ""
    action = Action.CHANGED_ROLE if before else Action.JOINED_SECTION
    note(
        session,
        word.now,
        word.actor_id,
        Action.LEFT_SECTION if after is None else action,
        section_id,
        person_id=user.id,
        detail=f"{after.value if after else 'nothing'}{was}: {word.lms} says so",
    )


def _is_last(session: Session, section_id: int, user: User) -> bool:
    """Return whether this is the only instructor of the section."""
    teachers = session.scalars(
        select(Enrolment.user_id).where(
            Enrolment.section_id == section_id, Enrolment.role == SectionRole.INSTRUCTOR
        )
    ).all()
    return list(teachers) == [user.id]


def _settle_account(session: Session, user: User) -> None:
    """Whoever teaches nothing any more is a student again, if the LMS has made the account."""
    teaches = any(role is SectionRole.INSTRUCTOR for _, role in sections_of(session, user.id))
    if user.role is Role.INSTRUCTOR and not teaches and user.origin is Origin.LMS:
        user.role = Role.STUDENT


def _recount(session: Session, section_id: int, user: User) -> None:
    for assignment in assignments_of(session, [section_id]):
        recount(session, assignment, [user.id])
