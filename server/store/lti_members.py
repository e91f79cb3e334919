"""Who a platform's roster names: where grades go of students who have not come from it yet.

The first reading that finds an account decides whose grades a subject gets: an address that moves
to another person later takes no grades along. What somebody says who comes goes before it.
"""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.courses import Enrolment, SectionRole
from server.store.lti import LtiContext, LtiLink, LtiMember, LtiPerson
from server.store.lti_choices import known_people, queue_for
from server.store.people import User, normal_email


def note_members(session: Session, platform_id: int, emails: Mapping[str, str]) -> None:
    """Note the students of a roster, addresses by subject; who has come from there is known."""
    known = known_people(session, platform_id)
    noted = {
        each.subject: each
        for each in session.scalars(select(LtiMember).where(LtiMember.platform_id == platform_id))
    }
    for subject, email in emails.items():
        if subject in known or not email:
            continue
        row = noted.get(subject)
        if row is None:
            session.add(
                LtiMember(platform_id=platform_id, subject=subject, email=normal_email(email))
            )
        elif row.user_id is None:
            row.email = normal_email(email)
    session.flush()


def bind_members(session: Session, section_id: int, now: datetime) -> None:
    """Find the accounts of those who are noted, and queue what they have reached.

    Only students of the section are looked at, and nobody who is known to the platform already.
    """
    contexts = session.scalars(select(LtiContext).where(LtiContext.section_id == section_id)).all()
    for platform_id in {context.platform_id for context in contexts}:
        bound = _bind(session, platform_id, section_id)
        links = select(LtiLink).where(
            LtiLink.context_id.in_(
                [each.id for each in contexts if each.platform_id == platform_id]
            )
        )
        for link in session.scalars(links).all() if bound else ():
            queue_for(session, link, now, bound)


def _bind(session: Session, platform_id: int, section_id: int) -> list[int]:
    taken = [
        select(each.user_id).where(each.platform_id == platform_id, each.user_id.is_not(None))
        for each in (LtiPerson, LtiMember)
    ]
    rows = session.execute(
        select(LtiMember, User.id)
        .join(User, User.email == LtiMember.email)
        .join(Enrolment, Enrolment.user_id == User.id)
        .where(
            LtiMember.platform_id == platform_id,
            LtiMember.user_id.is_(None),
            LtiMember.email != "",
            Enrolment.section_id == section_id,
            Enrolment.role == SectionRole.STUDENT,
            User.id.not_in(taken[0].union(taken[1])),
        )
        .order_by(LtiMember.subject)
    ).all()
    bound: list[int] = []
    for member, user_id in rows:
        # A platform that gives one address to two people is not believed the second time.
        if user_id not in bound:
            member.user_id, member.email = user_id, ""
            bound.append(user_id)
    session.flush()
    return bound
