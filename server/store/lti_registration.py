"""Platforms that register themselves: invited by the administrator, once, within a day."""

import hashlib
import secrets
from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.lti import LtiInvitation, Platform
from server.store.lti_platforms import Registration, deployments_of, save_platform

INVITATION_LASTS = timedelta(days=1)


def invite(session: Session, name: str, hosts: str, now: datetime) -> str:
    """Return the ticket of a new invitation; only its hash is stored."""
    session.execute(delete(LtiInvitation).where(LtiInvitation.expires_at <= now))
    ticket = secrets.token_urlsafe(32)
    session.add(
        LtiInvitation(
            ticket_hash=_hash(ticket), name=name, hosts=hosts, expires_at=now + INVITATION_LASTS
        )
    )
    return ticket


def find_invitation(
    session: Session, ticket: str, now: datetime, *, lock: bool = False
) -> LtiInvitation | None:
    """Return the invitation of a ticket, None if it was used or is too old."""
    found = session.get(LtiInvitation, _hash(ticket), with_for_update=lock or None)
    return found if found is not None and found.expires_at > now else None


def register(
    session: Session, invitation: LtiInvitation, said: Registration, deployment_id: str
) -> None:
    """Store the platform that the invitation was for; the ticket is used up.

    A platform that registers again as the same client is brought up to date and keeps its
    deployments; ``deployment_id`` is empty if it names none.
    """
    platform = session.scalar(
        select(Platform).where(Platform.issuer == said.issuer, Platform.client_id == said.client_id)
    )
    deployments = {deployment_id} - {""}
    if platform is not None:
        deployments |= set(deployments_of(session, platform.id))
    said = replace(said, name=invitation.name, more_hosts=invitation.hosts)
    saved = save_platform(session, platform or Platform(), said, deployments)
    assert saved, "it has been looked for just before, by its issuer and client id"
    session.delete(invitation)
    session.flush()


def _hash(ticket: str) -> str:
    return hashlib.sha256(ticket.encode()).hexdigest()
