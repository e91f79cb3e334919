"""Join codes: by which students come into a section without anybody's help.

A code is ten letters out of 31, so there are 8e14: at 300 guesses a second, it takes 1,700 years to
find one of 50 open ones. That keeps strangers out. So a right code always lets its student in,
however many wrong ones came from the same network: a whole class may stand behind one address, and
nobody there can shut it out. Wrong codes are counted: a guesser is told so and fills no table, and
one who is signed in has to wait.
"""

import secrets
from datetime import datetime, timedelta

from sqlalchemy import String, delete, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.courses import Enrolment, Section
from server.store.database import Base, one_at_a_time
from server.store.people import Origin, User

LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Without those that look like others."""

WINDOW = timedelta(minutes=15)
WRONG_CODES = 50
"""From one sender in a window."""

MOST_UNCONFIRMED = 200
"""Accounts of a section that came by a code and that its instructor has not confirmed."""


class WrongCode(Base):
    """A code that opens nothing; ``sender`` is an address of the network or an account."""

    __tablename__ = "wrong_codes"

    id: Mapped[int] = mapped_column(primary_key=True)
    sender: Mapped[str] = mapped_column(String(80), index=True)
    at: Mapped[datetime] = mapped_column(index=True)


def new_join_code(session: Session, section: Section) -> str:
    """Give the section a new code; the one before no longer lets anybody in."""
    letters = "".join(secrets.choice(LETTERS) for _ in range(10))
    section.join_code = f"{letters[:5]}-{letters[5:]}"
    session.flush()
    return section.join_code


def section_by_code(session: Session, code: str) -> Section | None:
    """Return the section that a join code opens; case and outer spaces don't matter."""
    wanted = code.strip().upper()
    return session.scalar(select(Section).where(Section.join_code == wanted)) if wanted else None


def sends_wrong_codes(session: Session, sender: str, now: datetime) -> bool:
    """Return whether too many wrong codes came from a sender of late."""
    recent = WrongCode.sender == sender, WrongCode.at > now - WINDOW, WrongCode.at <= now
    count = session.scalar(select(func.count()).select_from(WrongCode).where(*recent))
    return (count or 0) >= WRONG_CODES


def note_wrong_code(session: Session, sender: str, now: datetime) -> bool:
    """Count a wrong code; return False, and count no more, if there were too many of late."""
    one_at_a_time(session.connection(), "join codes")
    session.execute(delete(WrongCode).where(WrongCode.at <= now - WINDOW))
    if sends_wrong_codes(session, sender, now):
        return False
    session.add(WrongCode(sender=sender, at=now))
    session.flush()
    return True


def is_full(session: Session, section_id: int) -> bool:
    """Return whether so many unconfirmed accounts came by code that nobody more may."""
    count = session.scalar(
        select(func.count())
        .select_from(Enrolment)
        .join(User, User.id == Enrolment.user_id)
        .where(
            Enrolment.section_id == section_id,
            Enrolment.confirmed.is_(False),
            User.confirmed.is_(False),
            User.origin == Origin.JOIN_CODE,
        )
    )
    return (count or 0) >= MOST_UNCONFIRMED
