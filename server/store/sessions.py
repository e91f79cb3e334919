"""Browsers in which somebody is signed in, and browsers in which they were before."""

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import ForeignKey, String, bindparam, delete, or_, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.database import Base, send
from server.store.people import Role, User


class Stage(StrEnum):
    """How far the sign-in has come: nobody is signed in while a code is due."""

    CODE_DUE = "code due"
    WITHOUT_CODE = "without code"
    WITH_CODE = "with code"


class BrowserSession(Base):
    """A signed-in browser. The cookie holds a random id; here is only its hash.

    It ends at ``expires_at``, and at ``idle_until`` unless it is used before then. ``lasting``: the
    cookie outlives the browser's window. ``browser`` is what the browser says it is.
    """

    __tablename__ = "browser_sessions"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    expires_at: Mapped[datetime] = mapped_column(index=True)
    idle_until: Mapped[datetime] = mapped_column(index=True)
    begun_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    lasting: Mapped[bool]
    stage: Mapped[Stage]
    address: Mapped[str] = mapped_column(String(64))
    browser: Mapped[str] = mapped_column(String(200))

    user: Mapped[User] = relationship()


class KnownBrowser(Base):
    """A browser in which this user has signed in; its cookie lasts longer than the session."""

    __tablename__ = "known_browsers"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    seen_at: Mapped[datetime] = mapped_column(index=True)


SEEN_EVERY = timedelta(minutes=5)
"""How often the use of a session is written down, at most."""

CODE_WITHIN = timedelta(minutes=10)
"""From the right password to the code of the second factor."""

KNOWN_FOR = timedelta(days=180)


@dataclass(frozen=True, slots=True)
class Lifetime:
    """How long a session may last, and how long it may lie idle."""

    length: timedelta
    idle: timedelta
    lasting: bool = False


def begin_session(
    session: Session,
    user: User,
    now: datetime,
    lifetime: Lifetime,
    *,
    stage: Stage = Stage.WITHOUT_CODE,
    address: str = "",
    browser: str = "",
) -> str:
    """Sign ``user`` in; return the token for the cookie, which is stored nowhere."""
    session.execute(
        delete(BrowserSession).where(
            or_(BrowserSession.expires_at <= now, BrowserSession.idle_until <= now)
        )
    )
    token = secrets.token_urlsafe(32)
    length, idle = lifetime.length, lifetime.idle
    if stage is Stage.CODE_DUE:
        length = idle = CODE_WITHIN
    session.add(
        BrowserSession(
            token_hash=hash_token(token),
            user_id=user.id,
            expires_at=now + length,
            idle_until=now + min(length, idle),
            begun_at=now,
            seen_at=now,
            lasting=lifetime.lasting,
            stage=stage,
            address=address[:64],
            browser=browser[:200],
        )
    )
    session.flush()
    return token


def end_session(session: Session, token_hash: str) -> None:
    session.execute(delete(BrowserSession).where(BrowserSession.token_hash == token_hash))


def end_sessions_of(session: Session, user_id: int, *, but: str = "") -> None:
    """Sign a user out everywhere, except in the session whose hash is ``but``."""
    session.execute(
        delete(BrowserSession).where(
            BrowserSession.user_id == user_id, BrowserSession.token_hash != but
        )
    )


_LIVE = (
    BrowserSession.expires_at > bindparam("now"),
    BrowserSession.idle_until > bindparam("now"),
    User.disabled_at.is_(None),
)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A session that goes on, with what every request needs of its user."""

    token_hash: str
    stage: Stage
    seen_at: datetime
    lasting: bool
    user_id: int
    name: str
    role: Role


_SESSION = (
    select(
        BrowserSession.token_hash,
        BrowserSession.stage,
        BrowserSession.seen_at,
        BrowserSession.lasting,
        User.id,
        User.name,
        User.role,
    )
    .join(BrowserSession.user)
    .where(BrowserSession.token_hash == bindparam("token_hash"), *_LIVE)
)


def find_session(session: Session, token: str, now: datetime) -> SignedIn | None:
    """Return the session of the browser that holds this token, while it lasts.

    A code may be due yet.
    """
    found = send(session, _SESSION, {"token_hash": hash_token(token), "now": now}).one_or_none()
    return None if found is None else SignedIn(*found)


def set_stage(session: Session, token_hash: str, stage: Stage) -> None:
    """Note how far the sign-in of this browser has come."""
    session.get_one(BrowserSession, token_hash).stage = stage


def sessions_of(session: Session, user_id: int, now: datetime) -> list[BrowserSession]:
    """Return where a user is signed in; the one that was used last comes first."""
    return list(
        session.scalars(
            select(BrowserSession)
            .join(BrowserSession.user)
            .where(
                BrowserSession.user_id == user_id,
                BrowserSession.stage != Stage.CODE_DUE,
                *_LIVE,
            )
            .order_by(BrowserSession.seen_at.desc(), BrowserSession.token_hash),
            {"now": now},
        )
    )


def live_sessions(session: Session, hashes: Collection[str], now: datetime) -> dict[str, datetime]:
    """Return those of these sessions that go on, and when each was noted to be used."""
    found = session.execute(
        select(BrowserSession.token_hash, BrowserSession.seen_at)
        .join(BrowserSession.user)
        .where(BrowserSession.token_hash.in_(hashes), *_LIVE),
        {"now": now},
    )
    return {row.token_hash: row.seen_at for row in found}


def use_is_due(seen_at: datetime, now: datetime) -> bool:
    """Return whether the use of a session is to be noted again."""
    return now - seen_at >= SEEN_EVERY


def note_use(session: Session, hashes: Collection[str], now: datetime, idle: timedelta) -> None:
    """Note that these sessions are in use, so that they do not end as idle ones."""
    for found in session.scalars(
        select(BrowserSession).where(BrowserSession.token_hash.in_(hashes))
    ):
        found.seen_at = now
        # One that lasts has no end but its own.
        found.idle_until = found.expires_at if found.lasting else min(found.expires_at, now + idle)


def is_known(session: Session, token: str, user_id: int) -> bool:
    """Return whether this user has signed in in the browser that holds this token."""
    return session.get(KnownBrowser, (hash_token(token), user_id)) is not None


def know_browser(session: Session, token: str, user_id: int, now: datetime) -> str:
    """Remember that the user signed in in this browser; return the token for its cookie."""
    session.execute(delete(KnownBrowser).where(KnownBrowser.seen_at <= now - KNOWN_FOR))
    token = token if _is_token(token) else secrets.token_urlsafe(32)
    known = session.execute(
        update(KnownBrowser)
        .where(KnownBrowser.token_hash == hash_token(token), KnownBrowser.user_id == user_id)
        .values(seen_at=now)
        .returning(KnownBrowser.user_id)
    )
    if known.first() is None:
        session.add(KnownBrowser(token_hash=hash_token(token), user_id=user_id, seen_at=now))
    return token


def forget_browsers(session: Session, user_id: int) -> None:
    """Know no browser of the user any more."""
    session.execute(delete(KnownBrowser).where(KnownBrowser.user_id == user_id))


def hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _is_token(token: str) -> bool:
    return len(token) == len(secrets.token_urlsafe(32))
