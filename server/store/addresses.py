"""Whose an account is: the owner's of its address, as far as anybody has shown it.

An account that a roster or a join code made is *unconfirmed*: its password may be known to
somebody else than the owner of the address. An administrator's accounts are confirmed, and so is
one whose owner came by OpenID or an LMS with that address. An instructor confirms accounts for
their own section only (``Enrolment.confirmed``), so that they raise nobody anywhere else.
"""

from datetime import datetime

from sqlalchemy import delete
from sqlalchemy.orm import Session

from server.store.audit import note
from server.store.audit_chain import Action
from server.store.lti import LtiPerson
from server.store.openid import OpenIdPerson
from server.store.people import BrowserSession, User


def claim_address(session: Session, user: User, now: datetime) -> None:
    """Give an account to the owner of its address, who has just proved that they are.

    Call it when somebody comes by OpenID or an LMS with the verified address ``user.email``, before
    they are signed in. Nothing happens to a confirmed account. An unconfirmed one loses its
    password, its sign-ins and whoever an LMS or provider took for its owner; its work stays.
    """
    if user.confirmed:
        return
    user.confirmed = True
    user.password_hash = None
    for table in (BrowserSession, LtiPerson, OpenIdPerson):
        session.execute(delete(table).where(table.user_id == user.id))
    note(session, now, user.id, Action.CLAIMED_ACCOUNT, None, person_id=user.id)
    session.flush()
