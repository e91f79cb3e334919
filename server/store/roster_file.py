"""Rosters as they come from registrars' systems and spreadsheets: bytes, separators, columns."""

import csv
import io
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from server.store.courses import SectionRole
from server.store.people import MAX_STUDENT_NUMBER, Role, normal_email

MAX_LINES = 1000
EMAIL = re.compile(r"[^@\s,;\"<>]+@[^@\s,;\"<>]+\.[^@\s,;\"<>]+")

SEPARATORS = ",;\t|"
PREAMBLE = 10
"""Lines that may stand above the names of the columns: a title, a date, a blank line."""

_COLUMNS = {
    "email": (
        *("email", "e mail", "mail", "email address", "e mail address", "mail address"),
        *("student email", "student email address", "primary email", "college email"),
        *("school email", "institutional email", "preferred email", "email id"),
    ),
    "name": ("name", "student", "full name", "student name", "display name"),
    "first": (
        *("first name", "firstname", "first", "given name", "givenname", "given names"),
        *("forename", "legal first name", "preferred first name", "student first name"),
    ),
    "last": (
        *("last name", "lastname", "last", "surname", "family name", "familyname"),
        *("legal last name", "student last name"),
    ),
    "listed as": ("listed as", "sort name", "sortable name", "sorted name"),
    "number": (
        *("student number", "student no", "student nr", "student id", "student id number"),
        *("studentid", "id", "id number", "campus id", "college id", "school id", "sis id"),
        *("sis user id", "registration number", "matriculation number"),
    ),
    "role": ("role", "section role"),
}
_COLUMN_OF = {spelling: column for column, names in _COLUMNS.items() for spelling in names}

_ROLES = {
    "": SectionRole.STUDENT,
    "student": SectionRole.STUDENT,
    "learner": SectionRole.STUDENT,
    "grader": SectionRole.GRADER,
    "ta": SectionRole.GRADER,
    "teaching assistant": SectionRole.GRADER,
}

_COLLEGE_ROLES = {
    "": Role.STUDENT,
    **{role.value: role for role in Role},
    "teacher": Role.INSTRUCTOR,
    "faculty": Role.INSTRUCTOR,
    "admin": Role.ADMINISTRATOR,
}

_SUFFIXES = frozenset({"jr", "jr.", "sr", "sr.", "ii", "iii", "iv", "phd", "md"})

NO_COLUMNS = (
    "The columns Email and Name are needed, or Email, First name and Last name. "
    "Name them in the first line."
)
NO_CSV = "This is not a text file. Save the roster as CSV and send that."


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One person of a roster; ``line`` is its number in the file.

    ``role`` is what they are in a section, ``college_role`` what a file of people says they are.
    """

    line: int
    email: str
    name: str
    listed_as: str
    role: SectionRole = SectionRole.STUDENT
    number: str = ""
    college_role: Role = Role.STUDENT


@dataclass(frozen=True, slots=True)
class RosterFault:
    """What can't be read: line 0 is the whole text."""

    line: int
    sentence: str

    def __str__(self) -> str:
        return f"Line {self.line}: {self.sentence}" if self.line else self.sentence


def decode_roster(content: bytes) -> str | RosterFault:
    """Return the text of a file in UTF-8, UTF-16 or Windows-1252.

    A mark at its beginning says which; without one, UTF-16 is told by the zeros between its
    letters, and what is not UTF-8 is Windows-1252, where nearly every byte is a letter.
    """
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return RosterFault(0, "This is a spreadsheet. Save it as CSV and send that.")
    encodings = ["utf-8-sig", "cp1252"]
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    elif content[1::2].count(0) > len(content) / 6:
        encodings = ["utf-16-le"]
    elif content[::2].count(0) > len(content) / 6:
        encodings = ["utf-16-be"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    return RosterFault(0, NO_CSV)


def read_roster(text: str) -> tuple[list[RosterLine], list[RosterFault]]:
    """Return the people of a CSV text with a line of column names; and every fault in it.

    Columns may be parted by commas, semicolons, tabs or bars, and be called as registrars call
    them. Needed are the email address and the name, in one column or in two.
    """
    return _read(text, _ROLES, "student or grader")


def read_people(text: str) -> tuple[list[RosterLine], list[RosterFault]]:
    """Return the people of a CSV text like a roster's, whose roles are those at the college."""
    return _read(text, _COLLEGE_ROLES, "student, instructor, department or administrator")


def _read(
    text: str, roles: Mapping[str, SectionRole | Role], role_words: str
) -> tuple[list[RosterLine], list[RosterFault]]:
    text = text.removeprefix("\ufeff")
    if not text.strip():
        return [], [RosterFault(0, "The roster is empty. Begin with the line Email,Name.")]
    head = _find_head(text)
    if head is None:
        return [], [RosterFault(1, NO_COLUMNS)]
    delimiter, head_line, columns = head
    lines: list[RosterLine] = []
    faults: list[RosterFault] = []
    seen: dict[str, int] = {}
    rows = _rows(text, delimiter)
    try:
        for number, row in islice(rows, MAX_LINES + PREAMBLE + 1):
            if number <= head_line or not any(cell.strip() for cell in row):
                continue
            read = _line(number, row, columns, roles, role_words)
            if isinstance(read, RosterFault):
                faults.append(read)
            elif read.email in seen:
                sentence = f"{read.email} stands in line {seen[read.email]} already. Take one away."
                faults.append(RosterFault(number, sentence))
            else:
                seen[read.email] = number
                lines.append(read)
    except _Unreadable as unreadable:
        # A cell that is longer than the reader takes; a quote that is not closed makes one.
        sentence = f"This can't be read as CSV: {unreadable}. Correct the line, or its quotes."
        return [], [RosterFault(unreadable.line, sentence)]
    if len(lines) + len(faults) > MAX_LINES:
        sentence = f"The roster has more than {MAX_LINES} lines. Send it in parts."
        return [], [RosterFault(0, sentence)]
    if not lines and not faults:
        faults.append(RosterFault(0, "The roster names nobody. Write a line for each person."))
    return lines, faults


class _Unreadable(Exception):
    """A text that is no CSV from some line on."""

    def __init__(self, line: int, problem: csv.Error) -> None:
        super().__init__(str(problem))
        self.line = line


def _rows(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the number of its first line. Raises _Unreadable."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    number = 1
    try:
        for row in reader:
            yield number, row
            number = reader.line_num + 1
    except csv.Error as problem:
        raise _Unreadable(max(1, reader.line_num), problem) from problem


def _find_head(text: str) -> tuple[str, int, dict[str, int]] | None:
    """Return the separator, the line of the column names and their places; None without any."""
    for delimiter in SEPARATORS:
        try:
            for number, row in islice(_rows(text, delimiter), PREAMBLE):
                columns = _columns(row)
                if "email" in columns and (
                    "name" in columns or {"first", "last"} <= columns.keys()
                ):
                    return delimiter, number, columns
        except _Unreadable:
            continue
    return None


def _columns(head: Sequence[str]) -> dict[str, int]:
    places: dict[str, int] = {}
    for place, cell in enumerate(head):
        folded = unicodedata.normalize("NFKC", cell).casefold()
        spelling = " ".join(re.sub(r"[^a-z0-9]+", " ", folded).split())
        if spelling in _COLUMN_OF:
            places.setdefault(_COLUMN_OF[spelling], place)
    return places


def _line(
    number: int,
    row: Sequence[str],
    columns: dict[str, int],
    roles: Mapping[str, SectionRole | Role],
    role_words: str,
) -> RosterLine | RosterFault:
    def cell(column: str) -> str:
        place = columns.get(column, len(row))
        return " ".join(row[place].split()) if place < len(row) else ""

    email = normal_email(cell("email"))
    if not EMAIL.fullmatch(email) or len(email) > 254:
        sentence = f"{email} is not an email address. Correct it."
        return RosterFault(number, sentence if email else "The email address is missing. Write it.")
    name, listed_as = _names(cell("name"), cell("first"), cell("last"))
    if not name or len(name) > 200:
        return RosterFault(number, "The name is missing or longer than 200 letters. Correct it.")
    word = cell("role")
    role = roles.get(word.casefold())
    if role is None:
        return RosterFault(number, f"{word} is not a role here. Write {role_words}.")
    student_number = cell("number")
    if len(student_number) > MAX_STUDENT_NUMBER:
        sentence = f"The student number is longer than {MAX_STUDENT_NUMBER} letters. Correct it."
        return RosterFault(number, sentence)
    listed_as = (cell("listed as") or listed_as)[:200]
    who = number, email, name, listed_as
    if isinstance(role, Role):
        return RosterLine(*who, number=student_number, college_role=role)
    return RosterLine(*who, role, student_number)


def _names(name: str, first: str, last: str) -> tuple[str, str]:
    """Return a name as people say it, and as lists are sorted."""
    if not name and (first or last):
        return f"{first} {last}".strip(), ", ".join(filter(None, (last, first)))
    before, comma, after = name.partition(",")
    if comma and "," not in after and after.strip().casefold() not in {"", *_SUFFIXES}:
        return f"{after.strip()} {before.strip()}", name
    return name, sorted_name(name)


def sorted_name(name: str) -> str:
    """Return a guess where the roster does not say: the last word first."""
    if "," in name or " " not in name:
        return name
    first, last = name.rsplit(" ", 1)
    return f"{last}, {first}"
