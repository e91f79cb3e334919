"""Links by which a calendar reads somebody's due dates without signing in, and those dates."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ForeignKey, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.courses import (
    TEACHING,
    Assignment,
    SectionRole,
    assignments_of,
    sections_of,
)
from server.store.database import Base
from server.store.gradebook import standings_of
from server.store.people import User


class CalendarLink(Base):
    """The one link of a person; here is only the hash of its key."""

    __tablename__ = "calendar_links"

    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, autoincrement=False
    )
    key_hash: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime]


@dataclass(frozen=True, slots=True)
class DueDate:
    """When an assignment is due for one person."""

    assignment: Assignment
    due_at: datetime


def make_calendar_link(session: Session, user_id: int, now: datetime) -> str:
    """Return the key of a new link, which is stored nowhere; the one before is good no more."""
    key = secrets.token_urlsafe(32)
    session.merge(CalendarLink(user_id=user_id, key_hash=_hash(key), made_at=now))
    session.flush()
    return key


def remove_calendar_link(session: Session, user_id: int) -> None:
    link = find_calendar_link(session, user_id)
    if link is not None:
        session.delete(link)


def find_calendar_link(session: Session, user_id: int) -> CalendarLink | None:
    return session.get(CalendarLink, user_id)


def owner_of_link(session: Session, key: str) -> int | None:
    """Return whose link has this key; None if nobody's, or if the account is disabled."""
    query = (
        select(CalendarLink.user_id)
        .join(User, User.id == CalendarLink.user_id)
        .where(CalendarLink.key_hash == _hash(key), User.disabled_at.is_(None))
    )
    return session.scalar(query)


def due_dates(session: Session, user_id: int, now: datetime) -> list[DueDate]:
    """Return what is due in somebody's sections of this term and later, with their own dates.

    What a student is excused from, or does not owe, is left out; who teaches sees the dates of the
    class.
    """
    roles = {
        section.id: role
        for section, role in sections_of(session, user_id)
        if not section.is_over(now.date()) and role is not SectionRole.WITHDRAWN
    }
    set_here = assignments_of(session, list(roles))
    works_on = [each.id for each in set_here if roles[each.section_id] not in TEACHING]
    standings = standings_of(session, user_id, works_on)
    found = []
    for each in set_here:
        standing = standings.get(each.id)
        if standing is None:
            found.append(DueDate(each, each.due_at))
        elif standing.owed and standing.excuse is None:
            found.append(DueDate(each, standing.due_at or each.due_at))
    return found


def _hash(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()
