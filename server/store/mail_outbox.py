"""Mails on their way to people, and which kinds each of them has turned off.

A mail is queued in the unit of work that gives the reason for it, so it goes out after the commit
or not at all. What it is about is unique for a person, so the same news is never queued twice. A
mail whose sending was begun and not seen to fail is never begun again: it is sent once at most.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import ColumnElement, ForeignKey, String, UniqueConstraint, delete, func, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.courses import SANDBOX_COURSE, Assignment
from server.store.database import Base
from server.store.people import User

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
GIVE_UP = timedelta(days=2)
"""A mail that could not be sent for so long is news no more."""

KEPT = timedelta(days=60)
"""So long a mail that was sent is remembered."""

GATHERED = timedelta(minutes=10)
"""So long comments are waited for that belong to the same submission."""


class MailKind(StrEnum):
    """What a mail tells."""

    MARKED_AGAIN = "marked again"
    COMMENT = "comment"
    MORE_TIME = "more time"
    DUE_SOON = "due soon"


class MailState(StrEnum):
    """How far a mail has come."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    GIVEN_UP = "given up"


class OutgoingMail(Base):
    """One mail for one person; its words are put together when it is sent.

    ``about`` tells it from others of its kind. ``path`` is the page that it leads to.
    """

    __tablename__ = "outgoing_mails"
    __table_args__ = (UniqueConstraint("user_id", "kind", "assignment_id", "about"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"))
    kind: Mapped[MailKind]
    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), index=True
    )
    about: Mapped[str] = mapped_column(String(80))
    path: Mapped[str] = mapped_column(String(80))
    state: Mapped[MailState] = mapped_column(default=MailState.WAITING)
    made_at: Mapped[datetime]
    next_try_at: Mapped[datetime] = mapped_column(index=True)
    tries: Mapped[int] = mapped_column(default=0)
    trouble: Mapped[str] = mapped_column(String(300), default="")

    user: Mapped[User] = relationship(lazy="joined", innerjoin=True)
    assignment: Mapped[Assignment] = relationship(lazy="joined", innerjoin=True)


class MailTurnedOff(Base):
    """A kind of mail that a person does not want."""

    __tablename__ = "mails_turned_off"

    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, autoincrement=False
    )
    kind: Mapped[MailKind] = mapped_column(primary_key=True)


@dataclass(frozen=True, slots=True)
class MailNow:
    """How many mails wait since when, and why the last of them could not be sent."""

    waiting: int
    since: datetime | None
    trouble: str


def turned_off(session: Session, user_id: int) -> set[MailKind]:
    """Return the kinds of mail that somebody does not want."""
    query = select(MailTurnedOff.kind).where(MailTurnedOff.user_id == user_id)
    return set(session.scalars(query))


def choose_mails(session: Session, user_id: int, wanted: Collection[MailKind]) -> None:
    """Let somebody get these kinds of mail and no others; what waits of the others is dropped."""
    unwanted = set(MailKind) - set(wanted)
    session.execute(delete(MailTurnedOff).where(MailTurnedOff.user_id == user_id))
    session.add_all(MailTurnedOff(user_id=user_id, kind=kind) for kind in sorted(unwanted))
    session.execute(
        delete(OutgoingMail).where(
            OutgoingMail.user_id == user_id,
            OutgoingMail.kind.in_(unwanted),
            OutgoingMail.state == MailState.WAITING,
        )
    )
    session.flush()


def queue_mail(
    session: Session,
    kind: MailKind,
    assignment: Assignment,
    user_ids: Collection[int],
    about: str,
    path: str,
    now: datetime,
) -> int:
    """Queue a mail for each of these people who wants its kind; how many were queued.

    Comments on one submission that follow each other are one mail.
    """
    if assignment.section.course.code == SANDBOX_COURSE:
        return 0
    here = OutgoingMail.kind == kind, OutgoingMail.assignment_id == assignment.id
    known = select(OutgoingMail.user_id).where(*here, OutgoingMail.about == about)
    if kind is MailKind.COMMENT:
        known = select(OutgoingMail.user_id).where(
            *here,
            (OutgoingMail.about == about)
            | ((OutgoingMail.path == path) & (OutgoingMail.state == MailState.WAITING)),
        )
    unwanted = select(MailTurnedOff.user_id).where(MailTurnedOff.kind == kind)
    wanted = session.scalars(
        select(User.id)
        .where(
            User.id.in_(user_ids),
            User.disabled_at.is_(None),
            User.id.not_in(known),
            User.id.not_in(unwanted),
        )
        .order_by(User.id)
    ).all()
    first = now + GATHERED if kind is MailKind.COMMENT else now
    session.add_all(
        OutgoingMail(
            user_id=id,
            kind=kind,
            assignment_id=assignment.id,
            about=about,
            path=path,
            made_at=now,
            next_try_at=first,
        )
        for id in wanted
    )
    session.flush()
    return len(wanted)


def _due(now: datetime) -> ColumnElement[bool]:
    return (OutgoingMail.state == MailState.WAITING) & (OutgoingMail.next_try_at <= now)


def any_mail_due(session: Session, now: datetime) -> bool:
    return session.scalar(select(OutgoingMail.id).where(_due(now)).limit(1)) is not None


def claim_mails(session: Session, now: datetime, limit: int = 50) -> list[OutgoingMail]:
    """Return mails whose time has come, the oldest first; nobody is given them again.

    What is too old to be news is given up.
    """
    found = session.scalars(
        select(OutgoingMail)
        .where(_due(now))
        .order_by(OutgoingMail.next_try_at, OutgoingMail.id)
        .limit(limit)
        .with_for_update(skip_locked=True, of=OutgoingMail)
    ).all()
    for mail in found:
        stale = now - mail.made_at > GIVE_UP or mail.user.disabled_at is not None
        mail.state = MailState.GIVEN_UP if stale else MailState.SENDING
    session.flush()
    return [mail for mail in found if mail.state is MailState.SENDING]


def note_mail_sent(session: Session, mail_id: int) -> None:
    mail = session.get(OutgoingMail, mail_id)
    if mail is not None:
        mail.state, mail.trouble = MailState.SENT, ""


def note_mail_failed(
    session: Session, mail_id: int, trouble: str, now: datetime, *, stop: bool
) -> None:
    """Try again later, each time after twice the wait; with ``stop``, never again."""
    mail = session.get(OutgoingMail, mail_id)
    if mail is None:
        return
    mail.state = MailState.GIVEN_UP if stop else MailState.WAITING
    mail.next_try_at = now + min(FIRST_WAIT * 2 ** min(mail.tries, 20), LONGEST_WAIT)
    mail.tries += 1
    mail.trouble = trouble[:300]


def forget_old_mails(session: Session, now: datetime) -> None:
    """Delete what was sent or given up long ago."""
    done = OutgoingMail.state != MailState.WAITING
    session.execute(delete(OutgoingMail).where(done, OutgoingMail.made_at < now - KEPT))


def mails_now(session: Session) -> MailNow:
    """Return how the mails to everybody are on their way."""
    waits = OutgoingMail.state == MailState.WAITING
    waiting, since = session.execute(
        select(func.count(), func.min(OutgoingMail.made_at)).where(waits)
    ).one()
    trouble = session.scalar(
        select(OutgoingMail.trouble)
        .where(OutgoingMail.trouble != "")
        .order_by(OutgoingMail.next_try_at.desc())
        .limit(1)
    )
    return MailNow(waiting, since, trouble or "")
