"""Rosters: compared with who is enrolled, and brought to the section as a whole.

Nothing is changed by reading and comparing; ``enrol_all`` makes the changes that a page has shown.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, false, func, select
from sqlalchemy.orm import Session, aliased

from server.store.courses import (
    Assignment,
    Enrolment,
    Section,
    SectionRole,
)
from server.store.people import Origin, Role, User
from server.store.roster_file import RosterFault, RosterLine
from server.store.section_roles import not_confirmed


@dataclass(frozen=True, slots=True)
class RosterChanges:
    """What a roster would change in a section.

    ``new`` have no account yet, ``added`` have one, ``renamed`` and ``moved`` (to another role)
    are in the section; ``missing`` are in it and not in the roster. ``keep_names`` are called
    otherwise, but are in other sections, too. ``numbered`` get another student number.
    """

    new: tuple[RosterLine, ...] = ()
    added: tuple[RosterLine, ...] = ()
    renamed: tuple[tuple[User, RosterLine], ...] = ()
    moved: tuple[tuple[User, RosterLine], ...] = ()
    same: int = 0
    missing: tuple[User, ...] = ()
    keep_names: tuple[tuple[User, RosterLine], ...] = ()
    numbered: tuple[tuple[User, RosterLine], ...] = ()

    @property
    def none(self) -> bool:
        """The roster is what the section has, but perhaps for those who are missing in it."""
        return not (self.new or self.added or self.renamed or self.moved or self.numbered)


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
    found = session.scalars(select(User).where(User.email.in_([line.email for line in lines])))
    known = {user.email: user for user in found}
    # Their other instructors know them by the name that they have.
    elsewhere = _elsewhere(session, section)
    renamed: list[tuple[User, RosterLine]] = []
    keep_names: list[tuple[User, RosterLine]] = []
    new, added, moved, same = [], [], [], 0
    numbered: list[tuple[User, RosterLine]] = []
    for line in lines:
        if line.email in known and _gets_number(known[line.email], line, elsewhere):
            numbered.append((known[line.email], line))
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
        tuple(numbered),
    )


def _gets_number(user: User, line: RosterLine, elsewhere: set[int]) -> bool:
    """Return whether a roster gives a student a number, or another one where only it knows them."""
    if not line.number or user.role is not Role.STUDENT or user.student_number == line.number:
        return False
    return user.student_number is None or user.id not in elsewhere


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
                student_number=line.number or None,
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
    for user, line in changes.numbered:
        user.student_number = line.number
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
