"""The lines of the log, chained: each carries the hash of the one before.

A line that is changed, taken out or put in breaks the chain from there on, and ``check_chain``
tells where. The hash covers who did what to whom, where and when. It covers the words of ``detail``
through a seal with a salt of its own, so that ``forget_details`` can take the words and the salt
away when a person is erased: the seal stays, the chain holds, and nobody can guess what it sealed.

People are named by ``User.log_id``, a random word that is given out once and leads nowhere after
the person is erased.
"""

import hashlib
import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from sqlalchemy import Enum, String, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.database import Base, one_at_a_time

START = "0" * 64
"""What the first line carries in place of a hash."""


class Action(StrEnum):
    """What somebody did."""

    SAW_GRADEBOOK = "saw gradebook"
    SAW_STUDENT = "saw student"
    SAW_SUBMISSION = "saw submission"
    SAW_LIKENESS = "saw likeness"
    SAW_DIAGNOSIS = "saw diagnosis"
    WATCHED_RUN = "watched run"
    TOOK_FILE = "took a file"
    EXPORTED_DATA = "exported data"
    SET_POINTS = "set points"
    SET_REQUIREMENT = "set a requirement"
    TOOK_BACK = "took points back"
    KEPT_POINTS = "kept points"
    RELEASED_RUN = "released hidden run"
    HID_RUN = "hid run again"
    EXCUSED = "excused"
    NO_LONGER_EXCUSED = "no longer excused"
    WROTE_COMMENT = "wrote comment"
    GAVE_TIME = "gave time"
    CHANGED_ACCOMMODATIONS = "changed accommodations"
    CHANGED_ENROLMENT = "changed enrollment"
    MADE_PASS_CODE = "made pass-code"
    TOOK_SEAT = "took a seat"
    CHANGED_POLICY = "changed policy"
    SET_EXERCISE = "set exercise"
    PAIRED = "paired"
    UNPAIRED = "unpaired"
    ADDED_ACCOUNT = "added account"
    CHANGED_ACCOUNT = "changed account"
    CHANGED_ROLE = "changed role"
    JOINED_SECTION = "joined section"
    LEFT_SECTION = "left section"
    MADE_JOIN_CODE = "made join code"
    CLOSED_JOIN_CODE = "closed join code"
    MADE_TOKEN = "made API token"
    ENDED_TOKEN = "ended API token"
    MADE_LINK = "made password link"
    USED_LINK = "used password link"
    LINK_EXPIRED = "link expired"
    CLAIMED_ACCOUNT = "claimed account"
    CONFIRMED_ACCOUNT = "confirmed account"
    FAILED_SIGN_IN = "failed sign-in"
    SIGNED_IN = "signed in"
    SIGNED_OUT = "signed out"
    CHANGED_SIGN_IN = "changed sign-in"
    CHANGED_COLLEGE = "changed college"
    CHANGED_OUTCOMES = "changed outcomes"
    CHANGED_PLATFORM = "changed LMS"
    ERASED_PERSON = "erased person"
    ASKED_CORRECTION = "asked for a correction"
    ANSWERED_CORRECTION = "answered a correction"
    HELD_DATA = "legal hold"


class AuditEvent(Base):
    """One line of the log; it is never changed, but for what ``forget_details`` takes away.

    ``number`` counts from 1 without a gap. ``actor`` (None: nobody was signed in) and ``person``
    (about whom; None: about nobody) are log ids. ``section_id`` and ``assignment_id`` refer to rows
    without holding them, so that nothing deleted elsewhere takes a line along. ``previous`` is the
    hash of the line before.
    """

    __tablename__ = "audit_events"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime] = mapped_column(index=True)
    actor: Mapped[str | None] = mapped_column(String(32), index=True)
    person: Mapped[str | None] = mapped_column(String(32), index=True)
    section_id: Mapped[int | None] = mapped_column(index=True)
    assignment_id: Mapped[int | None]
    action: Mapped[Action] = mapped_column(
        # Words may be added without a change of the table.
        Enum(
            Action,
            native_enum=False,
            length=40,
            values_callable=lambda words: [word.value for word in words],
        )
    )
    detail: Mapped[str] = mapped_column(String(200))
    salt: Mapped[str | None] = mapped_column(String(32))
    seal: Mapped[str] = mapped_column(String(64))
    previous: Mapped[str] = mapped_column(String(64))


class AuditTail(Base):
    """Number and hash of the last line; one row, none before the first line."""

    __tablename__ = "audit_tail"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    number: Mapped[int]
    hash: Mapped[str] = mapped_column(String(64))


@dataclass(frozen=True, slots=True)
class Entry:
    """What a line says, before it has its place in the chain."""

    at: datetime
    actor: str | None
    person: str | None
    section_id: int | None
    assignment_id: int | None
    action: str
    detail: str


def seal_detail(salt: str, detail: str) -> str:
    return hashlib.sha256(f"{salt}{detail}".encode()).hexdigest()


def hash_line(previous: str, number: int, entry: Entry, seal: str) -> str:
    """Return the hash that the next line carries. Lines are stored by it, so it never changes."""
    said = [
        previous,
        number,
        entry.at.astimezone(UTC).isoformat(timespec="microseconds"),
        entry.actor,
        entry.person,
        entry.section_id,
        entry.assignment_id,
        str(entry.action),
        seal,
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def append(session: Session, entries: Iterable[Entry]) -> None:
    """Write lines at the end of the log; until the commit, other writers of the log wait."""
    one_at_a_time(session.connection(), "audit")
    tail = session.get(AuditTail, 1, populate_existing=True)
    if tail is None:
        tail = AuditTail(id=1, number=0, hash=START)
        session.add(tail)
    for entry in entries:
        salt = secrets.token_hex(16)
        seal = seal_detail(salt, entry.detail)
        tail.number += 1
        session.add(
            AuditEvent(
                number=tail.number,
                at=entry.at,
                actor=entry.actor,
                person=entry.person,
                section_id=entry.section_id,
                assignment_id=entry.assignment_id,
                action=Action(entry.action),
                detail=entry.detail,
                salt=salt,
                seal=seal,
                previous=tail.hash,
            )
        )
        tail.hash = hash_line(tail.hash, tail.number, entry, seal)


def forget_details(session: Session, person: str) -> None:
    """Take away what the log says in words about a person who is erased."""
    session.execute(
        update(AuditEvent).where(AuditEvent.person == person).values(detail="", salt=None)
    )


@dataclass(frozen=True, slots=True)
class Chain:
    """What a check found: ``faults`` has a sentence for each place where the log is not whole.

    ``hashes`` has, of the numbers asked for, the hash of the line with that number.
    """

    lines: int
    last_hash: str
    faults: tuple[str, ...]
    hashes: dict[int, str]


def check_chain(session: Session, keep: Iterable[int] = ()) -> Chain:
    """Follow the chain from the first line to the last."""
    wanted = set(keep)
    faults: list[str] = []
    hashes: dict[int, str] = {}
    without_words: dict[int, str | None] = {}
    erased: set[str | None] = set()
    number, found = 0, START
    # Columns, not objects: the whole log would stay in memory otherwise.
    lines = session.execute(
        select(AuditEvent.__table__).order_by(AuditEvent.number).execution_options(yield_per=1000)
    )
    for line in lines:
        if line.number != number + 1:
            faults.append(f"{_lines(number + 1, line.number - 1)} missing.")
        elif line.previous != found:
            faults.append(
                f"Line {line.number} does not follow from {_before(number)}: one of them was "
                "changed, or lines were put in or taken out between them."
            )
        if line.salt is None and line.detail == "":
            without_words[line.number] = line.person
        elif seal_detail(line.salt or "", line.detail) != line.seal:
            faults.append(f"The detail of line {line.number} was changed.")
        if line.action == Action.ERASED_PERSON:
            erased.add(line.person)
        entry = Entry(
            line.at,
            line.actor,
            line.person,
            line.section_id,
            line.assignment_id,
            line.action,
            line.detail,
        )
        number, found = line.number, hash_line(line.previous, line.number, entry, line.seal)
        if number in wanted:
            hashes[number] = found
    tail = session.execute(select(AuditTail.number, AuditTail.hash)).one_or_none()
    last, last_hash = (tail.number, tail.hash) if tail is not None else (0, START)
    if last > number:
        faults.append(f"{_lines(number + 1, last)} missing at the end.")
    elif (last, last_hash) != (number, found):
        faults.append(f"Line {number}, the last one, was changed or was put in.")
    faults += [
        f"The detail of line {each} was taken away, though nobody was erased whom it is about."
        for each, person in without_words.items()
        if person not in erased
    ]
    return Chain(number, found, tuple(faults), hashes)


def _lines(first: int, last: int) -> str:
    return f"Line {first} is" if first == last else f"Lines {first} to {last} are"


def _before(number: int) -> str:
    return f"line {number}" if number else "the beginning"
