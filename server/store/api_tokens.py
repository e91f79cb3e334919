"""Tokens by which a script of somebody's reads what they may see."""

import hashlib
import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import ForeignKey, String, delete, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.database import Base
from server.store.people import User

LONGEST = timedelta(days=366)
MOST = 20
"""Tokens of one person."""

USE_NOTED_EVERY = timedelta(minutes=5)


class TokenScope(StrEnum):
    """What a token may read."""

    ROSTER = "roster"
    GRADEBOOK = "gradebook"
    REPORT = "report"
    EXERCISES = "exercises"


class ApiToken(Base):
    """A token that was made; here is only its hash. ``scope_words`` are its scopes in a row."""

    __tablename__ = "api_tokens"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(80))
    scope_words: Mapped[str] = mapped_column(String(100))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]

    user: Mapped[User] = relationship()

    @property
    def scopes(self) -> frozenset[TokenScope]:
        return frozenset(map(TokenScope, self.scope_words.split()))


def make_token(
    session: Session,
    user_id: int,
    name: str,
    scopes: Collection[TokenScope],
    expires_at: datetime,
    now: datetime,
) -> str | None:
    """Return a new token, which is stored nowhere; None if this person has MOST of them."""
    session.execute(delete(ApiToken).where(ApiToken.user_id == user_id, ApiToken.expires_at <= now))
    if len(tokens_of(session, user_id)) >= MOST:
        return None
    token = f"rungmark_{secrets.token_urlsafe(32)}"
    words = " ".join(scope.value for scope in TokenScope if scope in scopes)
    session.add(
        ApiToken(
            token_hash=_hash(token),
            user_id=user_id,
            name=name,
            scope_words=words,
            made_at=now,
            expires_at=expires_at,
        )
    )
    session.flush()
    return token


def tokens_of(session: Session, user_id: int) -> list[ApiToken]:
    """Return somebody's tokens, the newest first."""
    return list(
        session.scalars(
            select(ApiToken).where(ApiToken.user_id == user_id).order_by(ApiToken.id.desc())
        )
    )


def find_token(session: Session, token: str, now: datetime) -> ApiToken | None:
    """Return a token that is good: not past its end, and its owner's account is not disabled."""
    return session.scalar(
        select(ApiToken)
        .join(ApiToken.user)
        .where(
            ApiToken.token_hash == _hash(token),
            ApiToken.expires_at > now,
            User.disabled_at.is_(None),
        )
    )


def end_token(session: Session, user_id: int, token_id: int) -> str | None:
    """Delete one of somebody's tokens; return its name, None if they have no such token."""
    return session.scalar(
        delete(ApiToken)
        .where(ApiToken.id == token_id, ApiToken.user_id == user_id)
        .returning(ApiToken.name)
    )


def note_token_use(session: Session, token_id: int, now: datetime) -> None:
    session.execute(update(ApiToken).where(ApiToken.id == token_id).values(used_at=now))


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
