"""Who may sign in: users and their roles, browser sessions, refused attempts."""

import hashlib
import secrets
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cache
from threading import BoundedSemaphore
from uuid import uuid4

from pwdlib import PasswordHash
from sqlalchemy import ForeignKey, String, bindparam, delete, func, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base, one_at_a_time


class Role(StrEnum):
    """What a user is at the college; what they are in one section is said by their enrolment."""

    STUDENT = "student"
    INSTRUCTOR = "instructor"
    DEPARTMENT = "department"
    ADMINISTRATOR = "administrator"


OVERSEEING = frozenset({Role.DEPARTMENT, Role.ADMINISTRATOR})
"""They see the work of all sections; another system's word alone does not open their accounts."""


class Origin(StrEnum):
    """Who or what made an account; one from before this was kept counts as an administrator's."""

    ADMINISTRATOR = "administrator"
    ROSTER = "roster"
    JOIN_CODE = "join code"
    LMS = "LMS"


class User(Base):
    """One person. ``listed_as`` is the name in the order in which lists are sorted.

    ``sees_names`` lets a member of the department see whose work the figures rest on. ``log_id``
    names the person in the log (``store.audit``); it is given out once, unlike ``id``.
    ``origin_section_id`` is the section whose roster or join code made the account. A ``confirmed``
    account is known to belong to the owner of its address (``store.addresses``).
    """

    __tablename__ = "users"

    id: Mapped[int] = mapped_column(primary_key=True)
    email: Mapped[str] = mapped_column(String(254), unique=True)
    name: Mapped[str] = mapped_column(String(200))
    listed_as: Mapped[str] = mapped_column(String(200))
    role: Mapped[Role]
    password_hash: Mapped[str | None] = mapped_column(String(200))
    sees_names: Mapped[bool] = mapped_column(default=False)
    origin: Mapped[Origin] = mapped_column(default=Origin.ADMINISTRATOR)
    origin_section_id: Mapped[int | None] = mapped_column(
        ForeignKey("sections.id", ondelete="SET NULL"), index=True
    )
    confirmed: Mapped[bool] = mapped_column(default=True)
    log_id: Mapped[str] = mapped_column(String(32), unique=True, default=lambda: uuid4().hex)


class BrowserSession(Base):
    """A signed-in browser. The cookie holds a random id; here is only its hash."""

    __tablename__ = "browser_sessions"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    expires_at: Mapped[datetime] = mapped_column(index=True)


class RefusedAttempt(Base):
    """A sign-in that has not (yet) succeeded; success takes an email's rows away."""

    __tablename__ = "refused_attempts"

    id: Mapped[int] = mapped_column(primary_key=True)
    email: Mapped[str] = mapped_column(String(254), index=True)
    address: Mapped[str] = mapped_column(String(64), index=True)
    at: Mapped[datetime] = mapped_column(index=True)


ATTEMPT_WINDOW = timedelta(minutes=15)
ATTEMPTS_PER_EMAIL = 10
# A whole class may stand behind one address.
ATTEMPTS_PER_ADDRESS = 100

_passwords = PasswordHash.recommended()
# Argon2 takes some 60 MB each time; a burst of sign-ins or joins waits here instead of filling the
# memory.
_hashing = BoundedSemaphore(2)


def normal_email(text: str) -> str:
    """Addresses that differ only in case or outer spaces are one account."""
    return text.strip().lower()


def hash_password(password: str) -> str:
    """Return what is stored of a password. Takes about 0.1 s; call it outside a unit of work."""
    with _hashing:
        return _passwords.hash(password)


@cache
def _nobodys_hash() -> str:
    return hash_password(secrets.token_urlsafe())


def verify_password(password: str, password_hash: str | None) -> tuple[bool, str | None]:
    """Whether it fits, and a new hash where the stored one is weaker than today's.

    Takes about 0.1 s, for an unknown user too; call it outside a unit of work.
    """
    # Before the wait below, which it would otherwise do twice.
    known = password_hash or _nobodys_hash()
    with _hashing:
        fits, better = _passwords.verify_and_update(password, known)
    return (True, better) if fits and password_hash else (False, None)


def find_user(session: Session, email: str) -> User | None:
    return session.scalar(select(User).where(User.email == normal_email(email)))


def note_attempt(session: Session, email: str, address: str, now: datetime) -> bool:
    """Note that a sign-in begins; False if there were too many of late.

    It is noted before the password is looked at, so that attempts made side by side all count.
    """
    email = normal_email(email)
    one_at_a_time(session.connection(), "sign-in")
    session.execute(delete(RefusedAttempt).where(RefusedAttempt.at <= now - ATTEMPT_WINDOW))
    by_email, by_address = session.execute(
        select(
            func.count().filter(RefusedAttempt.email == email),
            func.count().filter(RefusedAttempt.address == address),
        ).where(
            or_(RefusedAttempt.email == email, RefusedAttempt.address == address),
            # A clock that was set back must not shut anybody out.
            RefusedAttempt.at <= now,
        )
    ).one()
    if by_email >= ATTEMPTS_PER_EMAIL or by_address >= ATTEMPTS_PER_ADDRESS:
        return False
    session.add(RefusedAttempt(email=email, address=address, at=now))
    return True


def begin_session(session: Session, user: User, now: datetime, length: timedelta) -> str:
    """Sign ``user`` in; return the token for the cookie, which is stored nowhere."""
    session.execute(delete(RefusedAttempt).where(RefusedAttempt.email == user.email))
    session.execute(delete(BrowserSession).where(BrowserSession.expires_at <= now))
    token = secrets.token_urlsafe(32)
    session.add(
        BrowserSession(token_hash=_token_hash(token), user_id=user.id, expires_at=now + length)
    )
    return token


def end_session(session: Session, token: str) -> None:
    session.execute(delete(BrowserSession).where(BrowserSession.token_hash == _token_hash(token)))


_SESSION_USER = (
    select(User)
    .join(BrowserSession, BrowserSession.user_id == User.id)
    .where(
        BrowserSession.token_hash == bindparam("token_hash"),
        BrowserSession.expires_at > bindparam("now"),
    )
)


def session_user(session: Session, token: str, now: datetime) -> User | None:
    """The user whose browser holds this token, while the session lasts."""
    return session.scalar(_SESSION_USER, {"token_hash": _token_hash(token), "now": now})


def _token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
