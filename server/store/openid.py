"""Who a subject of an OpenID Connect provider is here.

A provider's issuer and subject name a person for good (OpenID Connect Core 1.0, section 5.7); an
email address may move to somebody else. So the address finds an account only once, at the first
verified sign-in, and the subject does from then on.
"""

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base
from server.store.people import User


class OpenIdPerson(Base):
    """The account of one subject of one issuer."""

    __tablename__ = "openid_people"

    issuer: Mapped[str] = mapped_column(String(255), primary_key=True)
    subject: Mapped[str] = mapped_column(String(255), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)


def account_of_subject(session: Session, issuer: str, subject: str) -> User | None:
    """Return the account that this subject has been connected with."""
    person = session.get(OpenIdPerson, (issuer, subject))
    return session.get_one(User, person.user_id) if person is not None else None


def is_connected(session: Session, user_id: int) -> bool:
    """Return whether some provider's subject opens this account."""
    query = select(OpenIdPerson.subject).where(OpenIdPerson.user_id == user_id)
    return session.scalar(query.limit(1)) is not None
