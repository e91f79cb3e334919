"""Who a subject of an OpenID Connect provider is here.

A provider's issuer and subject name a person for good (OpenID Connect Core 1.0, section 5.7); an
email address may move to somebody else. So the address finds an account only once, at the first
verified sign-in, and the subject does from then on.
"""

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base, one_at_a_time
from server.store.people import OVERSEEING, User, find_user


class OpenIdPerson(Base):
    """The account of one subject of one issuer."""

    __tablename__ = "openid_people"

    issuer: Mapped[str] = mapped_column(String(255), primary_key=True)
    subject: Mapped[str] = mapped_column(String(255), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)


class NotTheirs(Exception):
    """The account belongs to another person; the text is one sentence with its fix."""


class PasswordFirst(Exception):
    """The account's owner has to sign in with its password once before it is connected."""


def account_of_subject(session: Session, issuer: str, subject: str) -> User | None:
    """Return the account that this subject has been connected with."""
    person = session.get(OpenIdPerson, (issuer, subject))
    return session.get_one(User, person.user_id) if person is not None else None


def is_connected(session: Session, user_id: int) -> bool:
    """Return whether some provider's subject opens this account."""
    query = select(OpenIdPerson.subject).where(OpenIdPerson.user_id == user_id)
    return session.scalar(query.limit(1)) is not None


def connect(
    session: Session, issuer: str, subject: str, email: str, visitor_id: int | None
) -> User | None:
    """Connect a subject with the account of its verified address; return None without one.

    ``visitor_id`` is who is signed in here. Raises NotTheirs and PasswordFirst.
    """
    one_at_a_time(session.connection(), "accounts")
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
    session.add(OpenIdPerson(issuer=issuer, subject=subject, user_id=user.id))
    session.flush()
    return user
