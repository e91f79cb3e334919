"""Terms, courses, sections, who is in them, and the exercises set for them."""

from collections.abc import Collection
from datetime import date, datetime
from enum import StrEnum

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    String,
    UniqueConstraint,
    func,
    select,
)
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from server.store.database import Base
from server.store.people import User


class Term(Base):
    """A term; what is ``archived`` (so of courses and sections, too) is in no picker."""

    __tablename__ = "terms"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    begins: Mapped[date]
    ends: Mapped[date]
    archived: Mapped[bool] = mapped_column(default=False)


class Course(Base):
    __tablename__ = "courses"

    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(20), unique=True)
    title: Mapped[str] = mapped_column(String(200))
    archived: Mapped[bool] = mapped_column(default=False)


class Section(Base):
    """A section; with ``extra_credit``, points set by hand may exceed those of an exercise."""

    __tablename__ = "sections"
    __table_args__ = (UniqueConstraint("course_id", "term_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    course_id: Mapped[int] = mapped_column(ForeignKey("courses.id"))
    term_id: Mapped[int] = mapped_column(ForeignKey("terms.id"), index=True)
    number: Mapped[str] = mapped_column(String(10))
    join_code: Mapped[str | None] = mapped_column(String(16), unique=True, index=True)
    archived: Mapped[bool] = mapped_column(default=False)
    extra_credit: Mapped[bool] = mapped_column(default=False)

    course: Mapped[Course] = relationship(lazy="joined", innerjoin=True)
    term: Mapped[Term] = relationship(lazy="joined", innerjoin=True)

    @property
    def title(self) -> str:
        return f"{self.course.code} section {self.number}"

    @property
    def title_with_term(self) -> str:
        """The title in a picker, where two terms have a section of one number."""
        return f"{self.title}, {self.term.name}"

    @property
    def is_archived(self) -> bool:
        """The section is archived, or its term or course is."""
        return self.archived or self.term.archived or self.course.archived

    def is_over(self, today: date) -> bool:
        """Return whether the section folds away among earlier terms."""
        return self.is_archived or self.term.ends < today


class SectionRole(StrEnum):
    """What somebody is in one section, whatever their role at the college.

    A test user is what an LMS lets instructors be, to see what students see: one who works like a
    student and is in no figure. A student who has withdrawn keeps their work, hands in no more and
    is in no figure either.
    """

    STUDENT = "student"
    INSTRUCTOR = "instructor"
    GRADER = "grader"
    TESTER = "test user"
    WITHDRAWN = "withdrawn"


SANDBOX_COURSE = "BENCH"
"""Code of the course whose sections are authors' benches (``store.benches``)."""

TEACHING = frozenset({SectionRole.INSTRUCTOR, SectionRole.GRADER})
HANDING_IN = frozenset({SectionRole.STUDENT, SectionRole.TESTER})
KEEPS_WORK = HANDING_IN | {SectionRole.WITHDRAWN}


class Enrolment(Base):
    """Who is in a section.

    ``confirmed``: its instructor says that the account belongs to the owner of its address; for
    the other sections only ``User.confirmed`` counts. ``from_lms``: the LMS gave the role, and may
    change it. A student owes what opens from ``owes_from`` on (None: everything); until
    ``due_until`` nothing of the section is late. ``incomplete``: the course is not finished for
    them, so that they are in no figure of the report.
    """

    __tablename__ = "enrolments"

    section_id: Mapped[int] = mapped_column(
        ForeignKey("sections.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    role: Mapped[SectionRole]
    confirmed: Mapped[bool] = mapped_column(default=False)
    from_lms: Mapped[bool] = mapped_column(default=False)
    owes_from: Mapped[datetime | None]
    due_until: Mapped[datetime | None]
    incomplete: Mapped[bool] = mapped_column(default=False)


class Counting(StrEnum):
    """Which of a student's attempts counts."""

    BEST = "best"
    LAST = "last"


class Feedback(StrEnum):
    """How much of a verdict a student sees; each word includes those before it."""

    VERDICT = "verdict"
    SENTENCE = "sentence"
    CHART = "chart"


class Assignment(Base):
    """An exercise set for a section.

    ``exercise`` is the slug of a folder of exercises. Work is taken from ``opens_at`` on; after
    ``due_at`` it is late; from ``closes_at`` on (never, if None) it is not taken. ``attempts``
    None means any number. ``feedback`` is released from attempt ``feedback_from_attempt`` on and,
    if ``feedback_after_due``, to everybody once it is due; until then a student sees the verdict.
    ``weight`` is the share of the course that it has beside the others. For every calendar day
    after the due date (in the college's time zone), ``late_per_day`` (0 to 1) of the points are
    lost. ``in_pairs`` lets two students hand in together. With ``cause_once``, requirements that
    one change of the program would mend cost no more than the dearest of them.
    With ``sitting_minutes`` it is supervised: a student works on it in one sitting of so many
    minutes (see ``store.sittings``), which begins with the room's ``pass_code``.
    """

    __tablename__ = "assignments"
    __table_args__ = (
        UniqueConstraint("section_id", "exercise"),
        CheckConstraint("opens_at <= due_at", name="due_after_opening"),
        CheckConstraint("closes_at IS NULL OR due_at <= closes_at", name="closes_after_due"),
        CheckConstraint("attempts IS NULL OR attempts >= 1", name="at_least_one_attempt"),
        CheckConstraint("feedback_from_attempt >= 1", name="feedback_from_an_attempt"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    section_id: Mapped[int] = mapped_column(ForeignKey("sections.id", ondelete="CASCADE"))
    exercise: Mapped[str] = mapped_column(String(100))
    title: Mapped[str] = mapped_column(String(200))
    opens_at: Mapped[datetime]
    due_at: Mapped[datetime]
    closes_at: Mapped[datetime | None]
    attempts: Mapped[int | None]
    counting: Mapped[Counting] = mapped_column(default=Counting.BEST)
    feedback: Mapped[Feedback] = mapped_column(default=Feedback.CHART)
    feedback_from_attempt: Mapped[int] = mapped_column(default=1)
    feedback_after_due: Mapped[bool] = mapped_column(default=False)
    weight: Mapped[float] = mapped_column(default=1.0)
    late_per_day: Mapped[float] = mapped_column(default=0.0)
    in_pairs: Mapped[bool] = mapped_column(default=False)
    cause_once: Mapped[bool] = mapped_column(default=False)
    sitting_minutes: Mapped[int | None]
    pass_code: Mapped[str | None] = mapped_column(String(16))

    section: Mapped[Section] = relationship(lazy="joined", innerjoin=True)

    @property
    def is_supervised(self) -> bool:
        return self.sitting_minutes is not None

    def feedback_for(self, attempt: int, now: datetime) -> Feedback:
        """Return what a student may see of the verdict on this attempt at this moment."""
        released = attempt >= self.feedback_from_attempt or (
            self.feedback_after_due and now > self.due_at
        )
        return self.feedback if released else Feedback.VERDICT


class Extension(Base):
    """A later due date for one student; work is taken until then in any case."""

    __tablename__ = "extensions"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    due_at: Mapped[datetime]
    reason: Mapped[str] = mapped_column(String(500))


class Partner(Base):
    """With whom a student works at one assignment; each of the two has a row."""

    __tablename__ = "partners"

    assignment_id: Mapped[int] = mapped_column(
        ForeignKey("assignments.id", ondelete="CASCADE"), primary_key=True
    )
    user_id: Mapped[int] = mapped_column(
        ForeignKey("users.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    partner_id: Mapped[int] = mapped_column(ForeignKey("users.id", ondelete="CASCADE"), index=True)


def seed_of(session: Session, assignment: Assignment, user_id: int) -> str:
    """Return the seed of a student's own numbers; two who work together have one.

    It is empty for who teaches the section: they see the exercise as it was written.
    """
    if role_in_section(session, user_id, assignment.section_id) in TEACHING:
        return ""
    partner_id = partner_of(session, assignment, user_id)
    first = min(user_id, partner_id) if partner_id is not None else user_id
    return f"{assignment.id}-{first}"


def partner_of(session: Session, assignment: Assignment, user_id: int) -> int | None:
    """Return the id of whom a student works with at an assignment; None if they work alone."""
    partner = session.get(Partner, (assignment.id, user_id)) if assignment.in_pairs else None
    return partner.partner_id if partner is not None else None


def find_term(session: Session, term_id: int) -> Term | None:
    return session.get(Term, term_id)


def all_terms(session: Session) -> list[Term]:
    """Return every term, the newest first."""
    return list(session.scalars(select(Term).order_by(Term.begins.desc())))


def find_course(session: Session, course_id: int) -> Course | None:
    """Return a course of the college; that of authors' drafts is none."""
    found = session.get(Course, course_id)
    return found if found is not None and found.code != SANDBOX_COURSE else None


def get_course(session: Session, course_id: int) -> Course:
    """Return a course that is known to be there; raise NoResultFound for any other."""
    return session.get_one(Course, course_id)


def all_courses(session: Session) -> list[Course]:
    """Return every course by its code."""
    query = select(Course).where(Course.code != SANDBOX_COURSE).order_by(Course.code)
    return list(session.scalars(query))


def add_to_college(session: Session, row: Term | Course | Section) -> bool:
    """Store a new term, course or section; return False if there is one of its name already."""
    try:
        with session.begin_nested():
            session.add(row)
            session.flush()
    except IntegrityError:
        return False
    return True


def find_section(session: Session, section_id: int) -> Section | None:
    return session.get(Section, section_id)


def find_assignment(session: Session, assignment_id: int) -> Assignment | None:
    return session.get(Assignment, assignment_id)


def role_in_section(session: Session, user_id: int, section_id: int) -> SectionRole | None:
    enrolment = session.get(Enrolment, (section_id, user_id))
    return enrolment.role if enrolment else None


def lock_work(session: Session, assignment: Assignment, user_id: int) -> Enrolment | None:
    """Let other units of work on this user's programs in the section wait for this one.

    SQLite has one writer at a time anyway.
    """
    return session.get(Enrolment, (assignment.section_id, user_id), with_for_update=True)


def roles_in_sections(
    session: Session, user_ids: Collection[int], section_ids: Collection[int]
) -> dict[tuple[int, int], SectionRole]:
    """Return what these users are in these sections, by user and section."""
    found = session.scalars(
        select(Enrolment).where(
            Enrolment.user_id.in_(user_ids), Enrolment.section_id.in_(section_ids)
        )
    )
    return {(each.user_id, each.section_id): each.role for each in found}


def sections_of(session: Session, user_id: int) -> list[tuple[Section, SectionRole]]:
    """Return the sections somebody is in, the newest term first."""
    rows = session.execute(
        select(Section, Enrolment.role)
        .join(Enrolment)
        .join(Section.course)
        .join(Section.term)
        .where(Enrolment.user_id == user_id, Course.code != SANDBOX_COURSE)
        .order_by(Term.begins.desc(), Course.code, Section.number)
    )
    return [(section, role) for section, role in rows]


def instructed_sections(session: Session, user_id: int, *, archived: bool = False) -> list[Section]:
    """Return the sections somebody instructs, the newest term first; archived ones if asked for."""
    return [
        section
        for section, role in sections_of(session, user_id)
        if role is SectionRole.INSTRUCTOR and (archived or not section.is_archived)
    ]


def all_sections(session: Session) -> list[Section]:
    """Return every section of the college, the newest term first."""
    return list(
        session.scalars(
            select(Section)
            .join(Section.course)
            .join(Section.term)
            .where(Course.code != SANDBOX_COURSE)
            .order_by(Term.begins.desc(), Course.code, Section.number)
        )
    )


def assignments_of(session: Session, section_ids: list[int]) -> list[Assignment]:
    """Return what is set for these sections, in the order in which it is due."""
    return list(
        session.scalars(
            select(Assignment)
            .where(Assignment.section_id.in_(section_ids))
            .order_by(Assignment.due_at, Assignment.id)
        )
    )


def students_of(session: Session, section_id: int) -> list[User]:
    return list(
        session.scalars(
            select(User)
            .join(Enrolment)
            .where(Enrolment.section_id == section_id, Enrolment.role == SectionRole.STUDENT)
            .order_by(func.lower(User.listed_as), User.id)
        )
    )


def class_of(session: Session, section_id: int) -> list[tuple[User, Enrolment]]:
    """Return a section's students by name, and those who have withdrawn."""
    rows = session.execute(
        select(User, Enrolment)
        .join(Enrolment, Enrolment.user_id == User.id)
        .where(
            Enrolment.section_id == section_id,
            Enrolment.role.in_((SectionRole.STUDENT, SectionRole.WITHDRAWN)),
        )
        .order_by(func.lower(User.listed_as), User.id)
    )
    return [(user, enrolment) for user, enrolment in rows]


def find_enrolment(session: Session, section_id: int, user_id: int) -> Enrolment | None:
    return session.get(Enrolment, (section_id, user_id))


def student_counts(session: Session) -> dict[int, int]:
    """Return the number of students by section id; a section without students has no entry."""
    rows = session.execute(
        select(Enrolment.section_id, func.count())
        .where(Enrolment.role == SectionRole.STUDENT)
        .group_by(Enrolment.section_id)
    )
    return dict(rows.all())
