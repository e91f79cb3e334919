"""What an instructor chooses for a platform's course and links, and what follows from it."""

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.courses import (
    TEACHING,
    Assignment,
    assignments_of,
    role_in_section,
    students_of,
)
from server.store.lti import LineItem, LtiChoice, LtiContext, LtiLink, LtiPerson, OutgoingScore
from server.store.lti_outbox import queue_scores
from server.store.people import User

CHOICE_LASTS = timedelta(hours=2)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a platform accepts of a choice, and where it wants it."""

    return_url: str
    data: str | None
    takes_line_item: bool
    takes_links: bool
    takes_several: bool
    takes_window: bool


def bind(
    session: Session,
    link: LtiLink,
    assignment_id: int,
    now: datetime,
    *,
    by_requirement: bool,
) -> None:
    """Lead a link to an assignment, and queue what was reached there before.

    What belongs to another assignment, or to columns that are no longer wanted, is forgotten.
    """
    old = OutgoingScore.link_id == link.id
    if link.assignment_id == assignment_id:
        old &= OutgoingScore.requirement != ""
    else:
        session.execute(delete(LineItem).where(LineItem.link_id == link.id))
    if link.assignment_id != assignment_id or not by_requirement:
        session.execute(delete(OutgoingScore).where(old))
    link.assignment_id, link.by_requirement = assignment_id, by_requirement
    session.flush()
    session.refresh(link)
    queue_for(session, link, now)


def queue_for(
    session: Session, link: LtiLink, now: datetime, user_ids: Collection[int] | None = None
) -> None:
    """Queue what these students (all, if None) have reached at the link's assignment before."""
    if link.assignment is not None:
        if user_ids is None:
            user_ids = [each.id for each in students_of(session, link.assignment.section_id)]
        queue_scores(session, link.assignment, user_ids, now)


def assignments_to_choose(session: Session, context: LtiContext) -> list[Assignment]:
    """Return what links of a platform's course can lead to: what is set for its section."""
    return assignments_of(session, [context.section_id]) if context.section_id else []


def begin_choice(
    session: Session, context: LtiContext, user: User, wanted: Wanted, now: datetime
) -> LtiChoice:
    """Begin the choice of what new links are to lead to."""
    session.execute(delete(LtiChoice).where(LtiChoice.expires_at <= now))
    choice = LtiChoice(
        context_id=context.id,
        user_id=user.id,
        return_url=wanted.return_url,
        data=wanted.data,
        takes_line_item=wanted.takes_line_item,
        takes_links=wanted.takes_links,
        takes_several=wanted.takes_several,
        takes_window=wanted.takes_window,
        expires_at=now + CHOICE_LASTS,
    )
    session.add(choice)
    session.flush()
    return choice


def give_ticket(choice: LtiChoice) -> str:
    """Return a ticket that opens the choice without a sign-in; only its hash is stored."""
    ticket = secrets.token_urlsafe(32)
    choice.ticket_hash = _hash(ticket)
    return ticket


def choice_by_ticket(session: Session, ticket: str, now: datetime) -> LtiChoice | None:
    """Return the choice that this ticket opens, None if it opens none, or none any more."""
    query = select(LtiChoice).where(LtiChoice.ticket_hash == _hash(ticket))
    choice = session.scalar(query)
    section_id = choice.context.section_id if choice else None
    if choice is None or section_id is None or choice.expires_at <= now:
        return None
    teaches = role_in_section(session, choice.user_id, section_id) in TEACHING
    enabled = session.get_one(User, choice.user_id).disabled_at is None
    return choice if teaches and enabled else None


def _hash(ticket: str) -> str:
    return hashlib.sha256(ticket.encode()).hexdigest()


def known_people(session: Session, platform_id: int) -> dict[str, User]:
    """Return the accounts of those who have come from a platform, by subject."""
    rows = session.execute(
        select(LtiPerson.subject, User)
        .join(User, User.id == LtiPerson.user_id)
        .where(LtiPerson.platform_id == platform_id)
    )
    return dict(rows.all())


def contexts_of(session: Session, section_id: int) -> list[LtiContext]:
    """Return the platforms' courses that are this section, and have a list of members."""
    return list(
        session.scalars(
            select(LtiContext)
            .where(LtiContext.section_id == section_id, LtiContext.memberships_url.is_not(None))
            .order_by(LtiContext.id)
        )
    )
