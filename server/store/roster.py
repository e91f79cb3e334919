"""Rosters: read from CSV, compared with who is enrolled, and brought to the section as a whole.

Nothing is changed by reading and comparing; ``enrol_all`` makes the changes that a page has shown.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from sqlalchemy import delete, false, func, select
from sqlalchemy.orm import Session, aliased

from server.store.courses import (
    Assignment,
    Enrolment,
    Section,
    SectionRole,
)
from server.store.people import Origin, Role, User, normal_email
from server.store.section_roles import not_confirmed

MAX_LINES = 1000
EMAIL = re.compile(r"[^@\s,;\"<>]+@[^@\s,;\"<>]+\.[^@\s,;\"<>]+")

_NAMES = {
    "email": ("email", "e-mail", "mail", "email address"),
    "name": ("name", "student", "full name"),
    "listed as": ("listed as", "sort name", "sortable name"),
    "role": ("role",),
}


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One person of a roster; ``line`` is its number in the file."""

    line: int
    email: str
    name: str
    listed_as: str
    role: SectionRole = SectionRole.STUDENT


@dataclass(frozen=True, slots=True)
class RosterFault:
    """What can't be read: line 0 is the whole text."""

    line: int
    sentence: str

    def __str__(self) -> str:
        return f"Line {self.line}: {self.sentence}" if self.line else self.sentence


@dataclass(frozen=True, slots=True)
class RosterChanges:
    """What a roster would change in a section.

    ``new`` have no account yet, ``added`` have one, ``renamed`` and ``moved`` (to another role)
    are in the section; ``missing`` are in it and not in the roster. ``keep_names`` are called
    otherwise, but are in other sections, too.
    """

    new: tuple[RosterLine, ...] = ()
    added: tuple[RosterLine, ...] = ()
    renamed: tuple[tuple[User, RosterLine], ...] = ()
    moved: tuple[tuple[User, RosterLine], ...] = ()
    same: int = 0
    missing: tuple[User, ...] = ()
    keep_names: tuple[tuple[User, RosterLine], ...] = ()

    @property
    def none(self) -> bool:
        """The roster is what the section has, but perhaps for those who are missing in it."""
        return not (self.new or self.added or self.renamed or self.moved)


def read_roster(text: str) -> tuple[list[RosterLine], list[RosterFault]]:
    """Return the people of a CSV text with a line of column names; and every fault in it.

    Needed is a column Email and one Name; 'Listed as' and 'Role' (student, grader) may follow.
    Columns are parted by commas, semicolons or tabs.
    """
    text = text.removeprefix("\ufeff").strip("\r\n")
    head = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        rows = list(islice(reader, MAX_LINES + 2))
    except csv.Error as problem:
        # A cell that is longer than the reader takes; a quote that is not closed makes one.
        sentence = f"This can't be read as CSV: {problem}. Correct the line, or its quotes."
        return [], [RosterFault(max(1, reader.line_num), sentence)]
    if not rows or not head.strip():
        return [], [RosterFault(0, "The roster is empty. Begin with the line Email,Name.")]
    if len(rows) > MAX_LINES + 1:
        return [], [
            RosterFault(0, f"The roster has more than {MAX_LINES} lines. Send it in parts.")
        ]
    columns = _columns(rows[0])
    if "email" not in columns or "name" not in columns:
        return [], [
            RosterFault(1, "The columns Email and Name are needed. Name them in the first line.")
        ]
    lines: list[RosterLine] = []
    faults: list[RosterFault] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        read = _line(number, row, columns)
        if isinstance(read, RosterFault):
            faults.append(read)
        elif read.email in seen:
            sentence = f"{read.email} stands in line {seen[read.email]} already. Take one away."
            faults.append(RosterFault(number, sentence))
        else:
            seen[read.email] = number
            lines.append(read)
    if not lines and not faults:
        faults.append(RosterFault(0, "The roster names nobody. Write a line for each person."))
    return lines, faults


def _columns(head: Sequence[str]) -> dict[str, int]:
    places: dict[str, int] = {}
    for place, cell in enumerate(head):
        for column, names in _NAMES.items():
            if cell.strip().lower() in names:
                places.setdefault(column, place)
    return places


def _line(number: int, row: Sequence[str], columns: dict[str, int]) -> RosterLine | RosterFault:
    def cell(column: str) -> str:
        place = columns.get(column, len(row))
        return " ".join(row[place].split()) if place < len(row) else ""

    email, name = normal_email(cell("email")), cell("name")
    if not EMAIL.fullmatch(email) or len(email) > 254:
        return RosterFault(number, f"{email or 'Nothing'} is no email address. Correct it.")
    if not name or len(name) > 200:
        return RosterFault(number, "The name is missing or longer than 200 letters. Correct it.")
    word = cell("role").lower() or SectionRole.STUDENT.value
    if word not in (SectionRole.STUDENT.value, SectionRole.GRADER.value):
        return RosterFault(number, f"{word} is no role here. Write student or grader.")
    listed_as = cell("listed as")[:200] or sorted_name(name)
    return RosterLine(number, email, name, listed_as, SectionRole(word))


def sorted_name(name: str) -> str:
    """Return a guess where the roster does not say: the last word first."""
    if "," in name or " " not in name:
        return name
    first, last = name.rsplit(" ", 1)
    return f"{last}, {first}"


def compare(session: Session, section: Section, lines: Sequence[RosterLine]) -> RosterChanges:
    """Return what this roster would change; three queries."""
    enrolled = {
        user.email: (user, role)
        for user, role in session.execute(
            select(User, Enrolment.role)
            .join(Enrolment, Enrolment.user_id == User.id)
            .where(Enrolment.section_id == section.id)
        )
    }
    known = set(
        session.scalars(select(User.email).where(User.email.in_([line.email for line in lines])))
    )
    # Their other instructors know them by the name that they have.
    elsewhere = _elsewhere(session, section)
    renamed: list[tuple[User, RosterLine]] = []
    keep_names: list[tuple[User, RosterLine]] = []
    new, added, moved, same = [], [], [], 0
    for line in lines:
        if line.email not in known:
            new.append(line)
        elif line.email not in enrolled:
            added.append(line)
        else:
            user, role = enrolled[line.email]
            changed = False
            # An instructor stays one, and who has withdrawn stays so, whatever a list says.
            if role not in (line.role, SectionRole.INSTRUCTOR, SectionRole.WITHDRAWN):
                moved.append((user, line))
                changed = True
            if user.role is Role.STUDENT and user.name != line.name:
                others = user.id in elsewhere
                (keep_names if others else renamed).append((user, line))
                changed = changed or not others
            same += not changed
    named = {line.email for line in lines}
    missing = tuple(
        user
        for email, (user, role) in sorted(enrolled.items())
        if email not in named and role in (SectionRole.STUDENT, SectionRole.GRADER)
    )
    return RosterChanges(
        tuple(new),
        tuple(added),
        tuple(renamed),
        tuple(moved),
        same,
        missing,
        tuple(keep_names),
    )


def _elsewhere(session: Session, section: Section) -> set[int]:
    """Return who of the section is in another one, too."""
    other = aliased(Enrolment)
    return set(
        session.scalars(
            select(Enrolment.user_id)
            .join(other, other.user_id == Enrolment.user_id)
            .where(Enrolment.section_id == section.id, other.section_id != section.id)
        )
    )


def unfit_lines(
    session: Session, section: Section, lines: Sequence[RosterLine]
) -> list[RosterFault]:
    """Return a fault for each line that makes a grader of an account that is not confirmed here."""
    wanted = {line.email: line.line for line in lines if line.role is SectionRole.GRADER}
    unfit = session.scalars(
        select(User.email)
        .outerjoin(Enrolment, (Enrolment.user_id == User.id) & (Enrolment.section_id == section.id))
        .where(
            User.email.in_(wanted),
            User.confirmed.is_(False),
            # Who teaches here already stays what they are.
            func.coalesce(Enrolment.role, SectionRole.STUDENT) == SectionRole.STUDENT,
            func.coalesce(Enrolment.confirmed, false()).is_(False),
        )
    )
    faults = [RosterFault(wanted[email], not_confirmed(email)) for email in unfit]
    return sorted(faults, key=lambda fault: fault.line)


def enrol_all(
    session: Session,
    section: Section,
    lines: Sequence[RosterLine],
    *,
    drop_missing: bool,
    origin: Origin = Origin.ROSTER,
    from_lms: bool = False,
    now: datetime | None = None,
) -> RosterChanges:
    """Make the changes; those who are missing leave only if asked for, and their work is kept.

    ``origin`` is what makes the new accounts. For those of a roster its instructor stands, in
    this section. ``from_lms``: an LMS gave the roster, so what it says later changes it again.
    ``now`` as in ``owes_from``.
    """
    since = owes_from(session, section, now)
    changes = compare(session, section, lines)
    for line in changes.new:
        session.add(
            User(
                email=line.email,
                name=line.name,
                listed_as=line.listed_as,
                role=Role.STUDENT,
                password_hash=None,
                origin=origin,
                origin_section_id=section.id,
                confirmed=False,
            )
        )
    session.flush()
    ids = dict(
        session.execute(
            select(User.email, User.id).where(User.email.in_([line.email for line in lines]))
        ).all()
    )
    for line in (*changes.new, *changes.added):
        session.add(
            Enrolment(
                section_id=section.id,
                user_id=ids[line.email],
                role=line.role,
                confirmed=line in changes.new and origin is Origin.ROSTER,
                from_lms=from_lms,
                owes_from=since if line.role is SectionRole.STUDENT else None,
            )
        )
    for user, line in changes.renamed:
        user.name, user.listed_as = line.name, line.listed_as
    for user, line in changes.moved:
        enrolment = session.get_one(Enrolment, (section.id, user.id))
        enrolment.role, enrolment.from_lms = line.role, from_lms
    if drop_missing:
        leave_section(session, section, [user.id for user in changes.missing])
    session.flush()
    return changes


def leave_section(session: Session, section: Section, user_ids: Iterable[int]) -> None:
    """Take people out of the section; what they have handed in stays stored."""
    session.execute(
        delete(Enrolment).where(
            Enrolment.section_id == section.id, Enrolment.user_id.in_(list(user_ids))
        )
    )


def owes_from(session: Session, section: Section, now: datetime | None) -> datetime | None:
    """Return from when on a student who comes ``now`` owes what opens; None: they owe everything.

    Who comes before anything was due is not late. Without ``now`` nobody is.
    """
    if now is None:
        return None
    was_due = select(Assignment.id).where(
        Assignment.section_id == section.id, Assignment.due_at < now
    )
    return None if session.scalar(was_due.limit(1)) is None else now


def enrol(
    session: Session,
    section: Section,
    user: User,
    role: SectionRole,
    *,
    from_lms: bool = False,
    now: datetime | None = None,
) -> None:
    """Put a person into the section, or give them another role in it; ``now`` as above."""
    enrolment = session.get(Enrolment, (section.id, user.id))
    if enrolment is None:
        enrolment = Enrolment(section_id=section.id, user_id=user.id)
        if role is SectionRole.STUDENT:
            enrolment.owes_from = owes_from(session, section, now)
        session.add(enrolment)
    enrolment.role, enrolment.from_lms = role, from_lms
    session.flush()


def people_of(session: Session, section_id: int) -> list[tuple[User, Enrolment]]:
    """Return everybody in a section: teachers first, then by name."""
    rows = session.execute(
        select(User, Enrolment)
        .join(Enrolment, Enrolment.user_id == User.id)
        .where(Enrolment.section_id == section_id)
        .order_by(func.lower(User.listed_as), User.id)
    )
    order = (
        SectionRole.INSTRUCTOR,
        SectionRole.GRADER,
        SectionRole.STUDENT,
        SectionRole.TESTER,
        SectionRole.WITHDRAWN,
    )
    return sorted(
        ((user, enrolment) for user, enrolment in rows), key=lambda row: order.index(row[1].role)
    )
