"""The brake on guessing: wrong passwords and codes are counted, and each costs a longer wait.

Counted is by what is guessed at and from where, together. So an account is never locked: whoever
comes from another address, or with a browser in which they have signed in before, waits for nobody.
What happens to one account from everywhere, or to all from one address, only takes away free tries.
"""

import hashlib
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address

from sqlalchemy import ColumnElement, String, and_, delete, func, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base, one_at_a_time

WINDOW = timedelta(hours=1)
"""So long each guess is counted."""

FREE = 5
"""Guesses at one thing from one place before the first wait."""

FREE_UNDER_ATTACK = 2
MANY_AT_ONE = 20
"""Guesses at one thing from everywhere that are an attack on it."""

MANY_FROM_ONE = 100
"""Guesses from one place that are an attack; a whole campus may stand behind one address."""

LONGEST_WAIT = timedelta(seconds=60)


class Guess(Base):
    """A guess that was not right, or not yet: a right one takes its row away again.

    ``target`` is a hash of what was guessed at, for somebody may type a password as a name.
    """

    __tablename__ = "guesses"

    id: Mapped[int] = mapped_column(primary_key=True)
    target: Mapped[str] = mapped_column(String(64), index=True)
    source: Mapped[str] = mapped_column(String(64), index=True)
    at: Mapped[datetime] = mapped_column(index=True)


def begin_guess(session: Session, target: str, source: str, now: datetime) -> timedelta:
    """Count a guess that is about to be looked at; or return how long it has to wait.

    It is counted before anything is looked at, so that guesses made side by side all count. One
    that has to wait must not be looked at, and does not count.
    """
    one_at_a_time(session.connection(), "guesses")
    target = _hashed(target)
    session.execute(delete(Guess).where(Guess.at <= now - WINDOW))
    at_it, from_there = Guess.target == target, Guess.source == source
    both = and_(at_it, from_there)
    pair, last, at_one, from_one = session.execute(
        select(
            func.count().filter(both),
            func.max(Guess.at).filter(both),
            func.count().filter(at_it),
            func.count().filter(from_there),
        ).where(
            or_(at_it, from_there),
            # A clock that was set back must not shut anybody out.
            Guess.at <= now,
        )
    ).one()
    attacked = at_one >= MANY_AT_ONE or from_one >= MANY_FROM_ONE
    wait = _wait(pair, FREE_UNDER_ATTACK if attacked else FREE)
    if last is not None and wait and last + wait > now:
        left: timedelta = last + wait - now
        return left
    session.add(Guess(target=target, source=source, at=now))
    return timedelta()


def forget_guesses(session: Session, target: str, source: str) -> None:
    """Take back what was counted here: the last guess was right."""
    session.execute(delete(Guess).where(_from(target, source)))


def _from(target: str, source: str) -> ColumnElement[bool]:
    return and_(Guess.target == _hashed(target), Guess.source == source)


def _wait(made: int, free: int) -> timedelta:
    """Return the time from the last of so many guesses to the next: 1 s, 2 s, 4 s and so on."""
    if made < free:
        return timedelta()
    return min(timedelta(seconds=2 ** min(made - free, 16)), LONGEST_WAIT)


def source_of_address(address: str) -> str:
    """Return the address somebody comes from, or the /64 of IPv6 that one customer has."""
    try:
        found = ip_address(address)
    except ValueError:
        return address[:64]
    if isinstance(found, IPv6Address):
        if found.ipv4_mapped:
            return str(found.ipv4_mapped)
        return str(IPv6Address(int(found) >> 64 << 64)) + "/64"
    return str(found)


def source_of_browser(token: str) -> str:
    """Return what stands for a known browser as a place of its own."""
    return "browser " + _hashed(token)[:32]


def _hashed(text: str) -> str:
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()
