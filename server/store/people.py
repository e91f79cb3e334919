"""Who may sign in: users, their roles and passwords."""

import secrets
import unicodedata
from collections.abc import Collection
from datetime import datetime
from enum import StrEnum
from functools import cache
from threading import BoundedSemaphore
from uuid import uuid4

from pwdlib import PasswordHash
from sqlalchemy import ForeignKey, String, func, or_, select
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


MAX_STUDENT_NUMBER = 40


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
    ``disabled_at``: since then nobody can sign in to the account; its work is kept.
    ``legal_hold``: nothing of the person may be erased. ``student_number`` is the college's.
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
    disabled_at: Mapped[datetime | None]
    legal_hold: Mapped[bool] = mapped_column(default=False)
    student_number: Mapped[str | None] = mapped_column(String(MAX_STUDENT_NUMBER))


PASSWORDS = PasswordHash.recommended()
HASHED_AT_ONCE = 1
"""A hash takes some 60 MB and four threads: a burst of them waits in turn, and pages go on."""

_hashing = BoundedSemaphore(HASHED_AT_ONCE)


def normal_email(text: str) -> str:
    """Addresses that differ only in case, width or outer spaces are one account."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return unicodedata.normalize("NFKC", folded).strip()


def hash_password(password: str) -> str:
    """Return what is stored of a password. Takes about 0.1 s; call it outside a unit of work."""
    with _hashing:
        return PASSWORDS.hash(password)


@cache
def _nobodys_hash() -> str:
    return hash_password(secrets.token_urlsafe())


def verify_password(password: str, password_hash: str | None) -> tuple[bool, str | None]:
    """Return whether it fits, and a new hash where the stored one is weaker than today's.

    Takes about 0.1 s, for an unknown user too; call it outside a unit of work.
    """
    # Before the wait below, which it would otherwise do twice.
    known = password_hash or _nobodys_hash()
    with _hashing:
        fits, better = PASSWORDS.verify_and_update(password, known)
    return (True, better) if fits and password_hash else (False, None)


def find_user(session: Session, email: str) -> User | None:
    return session.scalar(select(User).where(User.email == normal_email(email)))


def find_person(session: Session, person_id: int) -> User | None:
    return session.get(User, person_id)


def get_person(session: Session, person_id: int) -> User:
    """Return somebody who is known to be there; raise NoResultFound for anybody else."""
    return session.get_one(User, person_id)


def search_people(session: Session, text: str, limit: int | None = None) -> list[User]:
    """Return whose name or address holds the text, in the order of lists, ``limit`` at most."""
    wanted = f"%{text.strip().lower()}%"
    return list(
        session.scalars(
            select(User)
            .where(or_(func.lower(User.name).like(wanted), User.email.like(wanted)))
            .order_by(func.lower(User.listed_as), User.id)
            .limit(limit)
        )
    )


def has_people(session: Session) -> bool:
    """Return whether anybody has an account."""
    return session.scalar(select(User.id).limit(1)) is not None


def count_people(session: Session) -> int:
    return session.scalar(select(func.count()).select_from(User)) or 0


def names_of(session: Session, person_ids: Collection[int]) -> dict[int, str]:
    """Return the names of these people as lists have them, by id."""
    return dict(
        session.execute(select(User.id, User.listed_as).where(User.id.in_(person_ids))).all()
    )


def lock_accounts(session: Session) -> None:
    """Let nobody else make or look for an account until this unit of work ends."""
    one_at_a_time(session.connection(), "accounts")
