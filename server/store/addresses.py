"""Whose an account is: the owner's of its address, as far as anybody has shown it.

An account that a roster or a join code made is *unconfirmed*: its password may be known to
somebody else than the owner of the address. An administrator's accounts are confirmed, and so is
one whose owner came by OpenID or an LMS with that address. An instructor confirms accounts for
their own section only (``Enrolment.confirmed``), so that they raise nobody anywhere else.
"""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import Enrolment
from server.store.lti import LtiPerson
from server.store.openid import OpenIdPerson
from server.store.people import User
from server.store.sessions import BrowserSession, KnownBrowser


def claim_address(session: Session, user: User, now: datetime, *, by_id: int | None = None) -> None:
    """Give an account to the owner of its address, who has just proved that they are.

    Call it when somebody comes by OpenID or an LMS with the verified address ``user.email``, before
    they are signed in; ``by_id`` is the administrator who gave the account to them, if one did.
    Nothing happens to a confirmed account. An unconfirmed one loses its password, its sign-ins and
    whoever an LMS or provider took for its owner; its work stays.
    """
    if user.confirmed:
        return
    user.confirmed = True
    user.password_hash = None
    for table in (BrowserSession, KnownBrowser, LtiPerson, OpenIdPerson):
        session.execute(delete(table).where(table.user_id == user.id))
    note(session, now, by_id or user.id, Action.CLAIMED_ACCOUNT, None, person_id=user.id)
    session.flush()


def confirm(
    session: Session, section_id: int, user_ids: Collection[int], now: datetime, *, by_id: int
) -> None:
    """Note that the section's instructor stands for these accounts, in this section alone."""
    for enrolment in session.scalars(
        select(Enrolment).where(
            Enrolment.section_id == section_id,
            Enrolment.user_id.in_(user_ids),
            Enrolment.confirmed.is_(False),
        )
    ):
        enrolment.confirmed = True
        note(session, now, by_id, Action.CONFIRMED_ACCOUNT, section_id, person_id=enrolment.user_id)
    session.flush()
