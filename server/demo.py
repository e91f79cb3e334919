"""The demo course: Larkmoor Technical Institute, which does not exist. All of it is invented.

Due dates lie around the day on which the demo is loaded, so that there is always something open.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.marking.exercise import Exercise
from server.store.courses import Assignment, Course, Enrolment, Section, SectionRole, Term
from server.store.database import DatabaseTrouble
from server.store.people import Role, User, hash_password

PASSWORD = "larkmoor-lab"

# (name, as listed, section)
STUDENTS = (
    ("Amara Okonjo", "Okonjo, Amara", "01"),
    ("Bilal Haddad", "Haddad, Bilal", "01"),
    ("Camille Fournet", "Fournet, Camille", "01"),
    ("Đặng Thị Mai", "Đặng Thị Mai", "01"),
    ("Elif Yıldırım", "Yıldırım, Elif", "01"),
    ("Fetu Leavasa", "Leavasa, Fetu", "01"),
    ("Grzegorz Wiśniak", "Wiśniak, Grzegorz", "01"),
    ("Hana Kobayakawa", "Kobayakawa, Hana", "01"),
    ("Ilse van der Molen", "Molen, Ilse van der", "01"),
    ("Joaquín Peñalver", "Peñalver, Joaquín", "01"),
    ("Kalinda Strongbow", "Strongbow, Kalinda", "01"),
    ("Лариса Мельничук", "Мельничук, Лариса", "01"),
    ("Malik Thornbury", "Thornbury, Malik", "02"),
    ("Noor Al-Sabbagh", "Al-Sabbagh, Noor", "02"),
    ("Oluwaseun Adebisi", "Adebisi, Oluwaseun", "02"),
    ("Παύλος Ανδρεάδης", "Ανδρεάδης, Παύλος", "02"),
    ("Quỳnh Lê", "Lê Quỳnh", "02"),
    ("Rósa Ketilsdóttir", "Rósa Ketilsdóttir", "02"),
    ("Sipho Mabunda", "Mabunda, Sipho", "02"),
    ("Tomás Iriarte", "Iriarte, Tomás", "02"),
    ("Uxía Lourido", "Lourido, Uxía", "02"),
    ("Väinö Hirvelä", "Hirvelä, Väinö", "02"),
    ("Xochitl Barrera", "Barrera, Xochitl", "02"),
    ("Zsófia Kerekes", "Kerekes, Zsófia", "02"),
)

STUDENT = "amara.okonjo@larkmoor.example"
INSTRUCTOR = "ingrid.sollberg@larkmoor.example"

# (name, as listed, address before the @, role, teaches sections)
STAFF = (
    ("Ingrid Sollberg", "Sollberg, Ingrid", "ingrid.sollberg", Role.INSTRUCTOR, ("01",)),
    ("Teodoro Banaag", "Banaag, Teodoro", "teodoro.banaag", Role.INSTRUCTOR, ("02",)),
    ("Wanjiru Kamande", "Kamande, Wanjiru", "wanjiru.kamande", Role.DEPARTMENT, ()),
    ("Yosef Brandt", "Brandt, Yosef", "yosef.brandt", Role.ADMINISTRATOR, ()),
)

# Addresses of those whose names have other letters than an address has.
ADDRESSES = {
    "Đặng Thị Mai": "mai.dang",
    "Elif Yıldırım": "elif.yildirim",
    "Grzegorz Wiśniak": "grzegorz.wisniak",
    "Ilse van der Molen": "ilse.vandermolen",
    "Joaquín Peñalver": "joaquin.penalver",
    "Лариса Мельничук": "larysa.melnychuk",
    "Noor Al-Sabbagh": "noor.alsabbagh",
    "Παύλος Ανδρεάδης": "pavlos.andreadis",
    "Quỳnh Lê": "quynh.le",
    "Rósa Ketilsdóttir": "rosa.ketilsdottir",
    "Tomás Iriarte": "tomas.iriarte",
    "Uxía Lourido": "uxia.lourido",
    "Väinö Hirvelä": "vaino.hirvela",
    "Zsófia Kerekes": "zsofia.kerekes",
}


def load_demo(session: Session, exercises: Sequence[Exercise], now: datetime) -> bool:
    """Load the demo course; False, and nothing is changed, if it is there already.

    Raises DatabaseTrouble for a database with other people in it.
    """
    emails = set(session.scalars(select(User.email)))
    if STUDENT in emails:
        return False
    if emails:
        raise DatabaseTrouble(
            "The database holds a real course, so the demo was not loaded into it. "
            "Name another folder with --data, or leave --demo away."
        )
    sections = _sections(session, now.date())
    _people(session, sections)
    for section in sections.values():
        for place, exercise in enumerate(exercises):
            session.add(_assignment(section, exercise, place, now))
    session.flush()
    return True


def _sections(session: Session, today: date) -> dict[str, Section]:
    """The sections of the term that today belongs to; the term before it has none."""
    year = today.year
    terms = (
        Term(name=f"Spring {year}", begins=date(year, 1, 1), ends=date(year, 6, 30)),
        Term(name=f"Fall {year}", begins=date(year, 7, 1), ends=date(year, 12, 31)),
    )
    course = Course(code="AUT 131", title="Control logic laboratory")
    session.add_all([*terms, course])
    session.flush()
    (term,) = (term for term in terms if term.begins <= today <= term.ends)
    sections = {
        number: Section(course_id=course.id, term_id=term.id, number=number)
        for number in ("01", "02")
    }
    session.add_all(sections.values())
    session.flush()
    return sections


def _people(session: Session, sections: dict[str, Section]) -> None:
    password_hash = hash_password(PASSWORD)

    def enrol(name: str, listed_as: str, address: str, role: Role, numbers: Sequence[str]) -> None:
        user = User(
            email=f"{address}@larkmoor.example",
            name=name,
            listed_as=listed_as,
            role=role,
            password_hash=password_hash,
        )
        session.add(user)
        session.flush()
        in_section = SectionRole.STUDENT if role is Role.STUDENT else SectionRole.INSTRUCTOR
        session.add_all(
            Enrolment(section_id=sections[number].id, user_id=user.id, role=in_section)
            for number in numbers
        )

    for name, listed_as, number in STUDENTS:
        address = ADDRESSES.get(name) or name.lower().replace(" ", ".")
        enrol(name, listed_as, address, Role.STUDENT, (number,))
    for staff in STAFF:
        enrol(*staff)


def _assignment(section: Section, exercise: Exercise, place: int, now: datetime) -> Assignment:
    """One exercise a week, the first of them due last week."""
    due = (now + timedelta(weeks=place - 1)).replace(hour=23, minute=59, second=0, microsecond=0)
    return Assignment(
        section_id=section.id,
        exercise=exercise.slug,
        title=exercise.title,
        opens_at=min(now, due) - timedelta(weeks=3),
        due_at=due,
        closes_at=None,
        attempts=None,
    )


def accounts() -> str:
    """The demo accounts, one a line, for whoever starts the demo."""
    people = [
        (f"{Role.STUDENT.value}, section 01", STUDENT),
        (f"{Role.STUDENT.value}, section 02", "malik.thornbury@larkmoor.example"),
        *(
            (
                role.value + (f", section {', '.join(numbers)}" if numbers else ""),
                f"{address}@larkmoor.example",
            )
            for _, _, address, role, numbers in STAFF
        ),
    ]
    lines = "\n".join(f"  {what:<24}{email}" for what, email in people)
    return (
        "The demo course AUT 131 of Larkmoor Technical Institute: all of it is invented.\n"
        f"{lines}\n"
        f"  the password of each    {PASSWORD}"
    )
