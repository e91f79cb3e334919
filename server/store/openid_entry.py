"""Coming in from an OpenID Connect provider: a subject is connected with an account once."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store.addresses import claim_address
from server.store.openid import OpenIdPerson, account_of_subject
from server.store.people import OVERSEEING, User, find_user, lock_accounts


class NotTheirs(Exception):
    """The account belongs to another person; the text is one sentence with its fix."""


class PasswordFirst(Exception):
    """The account's owner has to sign in with its password once before it is connected."""


def connect(
    session: Session, issuer: str, subject: str, email: str, visitor_id: int | None, now: datetime
) -> User | None:
    """Connect a subject with the account of its verified address; return None without one.

    ``visitor_id`` is who is signed in here. Raises NotTheirs and PasswordFirst.
    """
    lock_accounts(session)
    known = account_of_subject(session, issuer, subject)
    if known is not None:
        return known
    user = find_user(session, email)
    if user is None:
        return None
    other = OpenIdPerson.issuer == issuer, OpenIdPerson.user_id == user.id
    if session.scalar(select(OpenIdPerson.subject).where(*other).limit(1)) is not None:
        raise NotTheirs(
            f"The account with the address {user.email} belongs to another person, who has signed "
            "in with it before. Ask an administrator for an account of your own."
        )
    # An account that sees everybody's work is not handed over to whoever has its address now.
    if user.role in OVERSEEING and user.password_hash is not None and user.id != visitor_id:
        raise PasswordFirst
    claim_address(session, user, now)
    session.add(OpenIdPerson(issuer=issuer, subject=subject, user_id=user.id))
    session.flush()
    return user
