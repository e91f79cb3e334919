"""Links by which somebody sets a new password, good for a day.

An administrator makes one for anybody. The roster of a section makes *first* links, for accounts of
students that it made and that nobody can sign in to yet: for no other account, or an instructor
could become whoever they put on their roster. That is asked again when the link is used.
"""

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, ForeignKey, String, and_, delete, exists, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.addresses import claim_address
from server.store.audit import note
from server.store.audit_chain import Action
from server.store.courses import TEACHING, Enrolment
from server.store.database import Base
from server.store.lti import LtiPerson
from server.store.openid import OpenIdPerson
from server.store.people import Origin, Role, User
from server.store.sessions import end_sessions_of, forget_browsers

LINK_LASTS = timedelta(days=1)
NEW_LINK = timedelta(minutes=5)
"""For so long nobody is mailed another one."""

SHORTEST = 10
"""Characters of a password."""


class PasswordLink(Base):
    """A link that was given out; the database holds only the hash of its secret.

    ``section_id`` is the section whose roster made it; None for an administrator's. A link whose
    maker is not known (any more) is not good; one of the server's command line is its owner's own.
    """

    __tablename__ = "password_links"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)
    expires_at: Mapped[datetime] = mapped_column(index=True)
    section_id: Mapped[int | None] = mapped_column(
        ForeignKey("sections.id", ondelete="CASCADE"), index=True
    )
    by_id: Mapped[int | None] = mapped_column(
        ForeignKey("users.id", ondelete="SET NULL"), index=True
    )


def _awaits_first_link() -> ColumnElement[bool]:
    """Return whether the roster of ``Enrolment.section_id`` may make a link for ``User``."""
    teaches = exists().where(Enrolment.user_id == User.id, Enrolment.role.in_(TEACHING))
    return and_(
        Enrolment.user_id == User.id,
        User.role == Role.STUDENT,
        User.password_hash.is_(None),
        User.confirmed.is_(False),
        User.origin == Origin.ROSTER,
        User.origin_section_id == Enrolment.section_id,
        ~exists().where(LtiPerson.user_id == User.id),
        ~exists().where(OpenIdPerson.user_id == User.id),
        ~teaches.correlate(User),
    )


def awaiting_first_link(session: Session, section_id: int) -> list[User]:
    """For whom the roster of a section may make links, by name."""
    return list(
        session.scalars(
            select(User)
            .join(Enrolment, _awaits_first_link())
            .where(Enrolment.section_id == section_id)
            .order_by(User.listed_as, User.id)
        )
    )


def make_first_links(
    session: Session, section_id: int, now: datetime, *, by_id: int
) -> list[tuple[User, str]]:
    """Make a link for everybody who awaits their first in this section; who, and its secret."""
    people = awaiting_first_link(session, section_id)
    return list(zip(people, _make(session, people, now, by_id, section_id), strict=True))


def has_new_link(session: Session, user: User, now: datetime) -> bool:
    """Return whether a link that opens any account was made for this one a few minutes ago."""
    made_after = now - NEW_LINK
    found = select(PasswordLink.token_hash).where(
        PasswordLink.user_id == user.id,
        PasswordLink.section_id.is_(None),
        PasswordLink.expires_at > made_after + LINK_LASTS,
    )
    return session.scalar(found.limit(1)) is not None


def make_link(session: Session, user: User, now: datetime, *, by_id: int | None) -> str:
    """Return the secret of an administrator's link, which opens any account.

    ``by_id`` is None where it is made on the server's own command line.
    """
    (token,) = _make(session, [user], now, by_id, None)
    return token


def _make(
    session: Session,
    people: Sequence[User],
    now: datetime,
    by_id: int | None,
    section_id: int | None,
) -> list[str]:
    """Make a link for each; links made for them before no longer work."""
    expire_links(session, now)
    ids = [user.id for user in people]
    session.execute(delete(PasswordLink).where(PasswordLink.user_id.in_(ids)))
    tokens = [secrets.token_urlsafe(24) for _ in people]
    for user_id, token in zip(ids, tokens, strict=True):
        session.add(
            PasswordLink(
                token_hash=_hash(token),
                user_id=user_id,
                expires_at=now + LINK_LASTS,
                section_id=section_id,
                by_id=by_id if by_id is not None else user_id,
            )
        )
        detail = "" if by_id is not None else "by command"
        note(session, now, by_id, Action.MADE_LINK, section_id, person_id=user_id, detail=detail)
    session.flush()
    return tokens


def expire_links(session: Session, now: datetime) -> None:
    """Delete the links that have run out unused, each with its line in the log."""
    for link in session.scalars(select(PasswordLink).where(PasswordLink.expires_at <= now)):
        note(
            session,
            link.expires_at,
            link.by_id,
            Action.LINK_EXPIRED,
            link.section_id,
            person_id=link.user_id,
        )
        session.delete(link)
    session.flush()


def user_of_link(session: Session, token: str, now: datetime) -> User | None:
    """Return whose password may be set by this link, while it is good."""
    still_awaited = exists().where(
        Enrolment.section_id == PasswordLink.section_id, _awaits_first_link()
    )
    return session.scalar(
        select(User)
        .join(PasswordLink, PasswordLink.user_id == User.id)
        .where(
            PasswordLink.token_hash == _hash(token),
            PasswordLink.expires_at > now,
            PasswordLink.by_id.is_not(None),
            or_(PasswordLink.section_id.is_(None), still_awaited.correlate(User, PasswordLink)),
        )
    )


def set_password(session: Session, token: str, password_hash: str, now: datetime) -> User | None:
    """Use up the link: set the password, end all sign-ins. None if the link is not good.

    Who holds an administrator's link is the owner of the address: the administrator gave it out.
    """
    # Locked, so that of two who use it at the same moment the second finds it used.
    link = session.get(PasswordLink, _hash(token), with_for_update=True)
    user = user_of_link(session, token, now)
    if link is None or user is None:
        expire_links(session, now)
        return None
    if link.section_id is None:
        claim_address(session, user, now)
    user.password_hash = password_hash
    note(session, now, user.id, Action.USED_LINK, link.section_id, person_id=user.id)
    session.execute(delete(PasswordLink).where(PasswordLink.user_id == user.id))
    end_sessions_of(session, user.id)
    session.flush()
    return user


def change_password(
    session: Session, user: User, password_hash: str, now: datetime, *, keep_session: str
) -> bool:
    """Set the password of who has shown the one that ``user`` has; end all other sign-ins.

    ``keep_session`` is the hash of the session that stays. Return False, and change nothing, if the
    password was changed after ``user`` was read.
    """
    known = user.password_hash
    stored = session.get_one(User, user.id, with_for_update=True, populate_existing=True)
    if stored.password_hash != known:
        return False
    stored.password_hash = password_hash
    note(session, now, user.id, Action.CHANGED_SIGN_IN, person_id=user.id, detail="password")
    session.execute(delete(PasswordLink).where(PasswordLink.user_id == user.id))
    end_sessions_of(session, user.id, but=keep_session)
    forget_browsers(session, user.id)
    return True


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
