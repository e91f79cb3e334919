"""The holidays of a term, and where the dates of another term lie in it."""

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import CheckConstraint, ForeignKey, String, delete, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from server.store.courses import Term
from server.store.database import Base

MAX_NAME = 80
LONGEST = timedelta(days=60)
"""Of one holiday; a longer one is a slip in the year."""

_LINE = re.compile(
    r"(\d{4}-\d{2}-\d{2})(?:\s*(?:to|until|through|-|–)\s*(\d{4}-\d{2}-\d{2}))?[\s,:]*(.*)"
)


class StoredHoliday(Base):
    """Days of a term without classes, both ends included."""

    __tablename__ = "holidays"
    __table_args__ = (CheckConstraint("first <= last", name="last_after_first"),)

    term_id: Mapped[int] = mapped_column(
        ForeignKey("terms.id", ondelete="CASCADE"), primary_key=True
    )
    first: Mapped[date] = mapped_column(primary_key=True)
    last: Mapped[date]
    name: Mapped[str] = mapped_column(String(MAX_NAME))


@dataclass(frozen=True, slots=True)
class Holiday:
    """Days without classes, both ends included."""

    first: date
    last: date
    name: str = ""

    def __str__(self) -> str:
        until = f" to {self.last}" if self.last != self.first else ""
        return f"{self.first}{until} {self.name}".rstrip()


@dataclass(frozen=True, slots=True)
class Calendar:
    """The first day of a term, and its holidays."""

    begins: date
    holidays: Sequence[Holiday] = ()

    @property
    def first_monday(self) -> date:
        """The Monday of the term's first week."""
        return _monday(self.begins)

    @property
    def free_weeks(self) -> list[date]:
        """The Mondays of the weeks whose five workdays all are holidays, in order."""
        mondays = {
            _monday(each.first) + timedelta(weeks=week)
            for each in self.holidays
            for week in range((each.last - each.first).days // 7 + 2)
        }
        return [
            monday
            for monday in sorted(mondays)
            if all(self.is_holiday(monday + timedelta(days=day)) for day in range(5))
        ]

    def is_holiday(self, day: date) -> bool:
        return any(each.first <= day <= each.last for each in self.holidays)


def weeks_between(earlier: Calendar, later: Calendar) -> int:
    """Return the weeks from the first week of one term to that of another."""
    return (later.first_monday - earlier.first_monday).days // 7


def shift_day(day: date, earlier: Calendar, later: Calendar, weeks: int) -> date:
    """Return where a day of one term lies in another, ``weeks`` of classes later.

    It keeps its day of the week. Weeks that are free in either term don't count; from a free week
    it moves to the Monday after, from a holiday to the next day that is none. No two days change
    their order.
    """
    free = earlier.free_weeks
    while _monday(day) in free:
        day = _monday(day) + timedelta(weeks=1)
    passed = sum(monday < day for monday in free)
    monday = _monday(day) + timedelta(weeks=weeks - passed)
    for each in later.free_weeks:
        if each <= monday:
            monday += timedelta(weeks=1)
    shifted = monday + timedelta(days=day.weekday())
    while later.is_holiday(shifted):
        shifted += timedelta(days=1)
    return shifted


def read_holidays(text: str) -> list[Holiday] | str:
    """Return the holidays of a text, one a line, by date; or one sentence that says what is wrong.

    A line has a date, or two with 'to' between them, and may have a name after that.
    """
    found: dict[date, Holiday] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        holiday = _read_line(line.strip())
        if holiday is None:
            return (
                f"Line {number} of the holidays can't be read: {line.strip()[:60]}. Write a date, "
                "or two with “to” between them, and a name: 2026-11-23 to 2026-11-27 Fall break."
            )
        if holiday.first in found:
            return f"Two holidays begin on {holiday.first}. Take one away."
        found[holiday.first] = holiday
    return [found[first] for first in sorted(found)]


def write_holidays(holidays: Collection[Holiday]) -> str:
    """Return the text that ``read_holidays`` reads."""
    return "\n".join(map(str, holidays))


def holidays_of(session: Session, term_ids: Collection[int]) -> dict[int, list[Holiday]]:
    """Return the holidays of these terms by date; a term without any has an empty list."""
    found: dict[int, list[Holiday]] = {id: [] for id in term_ids}
    rows = session.scalars(
        select(StoredHoliday).where(StoredHoliday.term_id.in_(found)).order_by(StoredHoliday.first)
    )
    for row in rows:
        found[row.term_id].append(Holiday(row.first, row.last, row.name))
    return found


def set_holidays(session: Session, term: Term, holidays: Collection[Holiday]) -> None:
    """Let a term have these holidays and no others."""
    session.execute(delete(StoredHoliday).where(StoredHoliday.term_id == term.id))
    session.add_all(
        StoredHoliday(term_id=term.id, first=each.first, last=each.last, name=each.name)
        for each in holidays
    )
    session.flush()


def _read_line(line: str) -> Holiday | None:
    found = _LINE.fullmatch(line)
    if found is None:
        return None
    try:
        first = date.fromisoformat(found[1])
        last = date.fromisoformat(found[2]) if found[2] else first
    except ValueError:
        return None
    if not timedelta(0) <= last - first <= LONGEST:
        return None
    return Holiday(first, last, found[3].strip()[:MAX_NAME])


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
