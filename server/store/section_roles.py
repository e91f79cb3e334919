"""Who may have which role in a section.

No section is left without an instructor, and nobody becomes a grader through an account that may be
somebody else's.
"""

from collections.abc import Collection

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.courses import Enrolment, Section, SectionRole, sections_of
from server.store.database import one_at_a_time
from server.store.people import Role, User

LAST_INSTRUCTOR = "The only instructor can't leave the section. Add another instructor first."


def refusal_of(session: Session, section: Section, user: User, role: SectionRole) -> str:
    """Return the sentence that refuses a person this role; empty if they may have it."""
    if role is SectionRole.INSTRUCTOR:
        if user.role is Role.STUDENT:
            return f"{user.name} has a student's account, which can't teach. Choose grader."
        return ""
    if leaves_no_instructor(session, section.id, {user.id}):
        return LAST_INSTRUCTOR
    if role is SectionRole.GRADER and not _is_confirmed_in(session, section.id, user):
        return not_confirmed(user.email)
    return ""


def not_confirmed(email: str) -> str:
    """Return the sentence that refuses the role of a grader to an unconfirmed account."""
    return (
        f"Nobody has confirmed here that the account {email} belongs to the owner of that address, "
        "so it can't be a grader. Make it a student, ask its owner, confirm it below, and then "
        "make it a grader."
    )


def _is_confirmed_in(session: Session, section_id: int, user: User) -> bool:
    enrolment = session.get(Enrolment, (section_id, user.id))
    return user.confirmed or (enrolment is not None and enrolment.confirmed)


def leaves_no_instructor(session: Session, section_id: int, leaving: Collection[int]) -> bool:
    """Return whether the section would lose its last instructor with these people.

    Other units of work that ask wait until this one ends, so that two can't leave at once.
    """
    one_at_a_time(session.connection(), "instructors")
    instructors = set(
        session.scalars(
            select(Enrolment.user_id).where(
                Enrolment.section_id == section_id, Enrolment.role == SectionRole.INSTRUCTOR
            )
        )
    )
    return not instructors.isdisjoint(leaving) and instructors.issubset(leaving)


def only_instructor_in(session: Session, user_id: int) -> list[Section]:
    """Return the sections in which nobody else is instructor, the newest term first."""
    return [
        section
        for section, role in sections_of(session, user_id)
        if role is SectionRole.INSTRUCTOR and leaves_no_instructor(session, section.id, {user_id})
    ]
