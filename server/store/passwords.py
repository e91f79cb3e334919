"""Links by which somebody sets a new password: made by an administrator, good for a day."""

import hashlib
import secrets
from datetime import datetime, timedelta

from sqlalchemy import ForeignKey, String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base
from server.store.people import BrowserSession, User

LINK_LASTS = timedelta(days=1)
SHORTEST = 10
"""Characters of a password."""


class PasswordLink(Base):
    """A link that was given out; the database holds only the hash of its secret."""

    __tablename__ = "password_links"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    expires_at: Mapped[datetime] = mapped_column(index=True)


def make_link(session: Session, user_id: int, now: datetime) -> str:
    """The secret of a new link; links made for the user before no longer work."""
    session.execute(
        delete(PasswordLink).where(
            (PasswordLink.user_id == user_id) | (PasswordLink.expires_at <= now)
        )
    )
    token = secrets.token_urlsafe(24)
    session.add(PasswordLink(token_hash=_hash(token), user_id=user_id, expires_at=now + LINK_LASTS))
    session.flush()
    return token


def user_of_link(session: Session, token: str, now: datetime) -> User | None:
    """Whose password may be set by this link, while it is good."""
    return session.scalar(
        select(User)
        .join(PasswordLink)
        .where(PasswordLink.token_hash == _hash(token), PasswordLink.expires_at > now)
    )


def set_password(session: Session, token: str, password_hash: str, now: datetime) -> User | None:
    """Use up the link: set the password, end all sign-ins. None if the link is not good."""
    user = user_of_link(session, token, now)
    if user is None:
        return None
    user.password_hash = password_hash
    session.execute(delete(PasswordLink).where(PasswordLink.user_id == user.id))
    session.execute(delete(BrowserSession).where(BrowserSession.user_id == user.id))
    session.flush()
    return user


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
