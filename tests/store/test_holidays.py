"""Where a date of one term lies in another; days of the week as any calendar shows them."""

from datetime import date

import pytest

from server.store.holidays import (
    Calendar,
    Holiday,
    read_holidays,
    shift_day,
    weeks_between,
    write_holidays,
)

# Both terms begin on a Monday; fall break is a whole week, and in spring there are two Mondays off
# and a whole week from 8 March.
FALL = Calendar(date(2026, 8, 24), [Holiday(date(2026, 10, 12), date(2026, 10, 16), "Fall break")])
SPRING = Calendar(
    date(2027, 1, 11),
    [
        Holiday(date(2027, 1, 18), date(2027, 1, 18)),
        Holiday(date(2027, 3, 6), date(2027, 3, 14), "Spring break"),
    ],
)


@pytest.mark.parametrize(
    ("day", "shifted"),
    [
        (date(2026, 8, 24), date(2027, 1, 11)),  # the first Monday
        (date(2026, 8, 31), date(2027, 1, 19)),  # the second Monday is a holiday: Tuesday
        (date(2026, 9, 4), date(2027, 1, 22)),  # the Friday of that week
        (date(2026, 10, 9), date(2027, 2, 26)),  # the seventh week's Friday, before either break
        (date(2026, 10, 14), date(2027, 3, 1)),  # in the fall break: the Monday after it
        (date(2026, 10, 19), date(2027, 3, 1)),  # that Monday itself: the eighth week of classes
        (date(2026, 10, 26), date(2027, 3, 15)),  # the ninth week comes after spring break
        (date(2026, 11, 1), date(2027, 3, 21)),  # a Sunday stays one
        (date(2026, 8, 20), date(2027, 1, 7)),  # before the term begins
    ],
)
def test_a_day_keeps_its_weekday_and_its_week_of_classes(day: date, shifted: date) -> None:
    weeks = weeks_between(FALL, SPRING)
    assert weeks == 20
    assert shift_day(day, FALL, SPRING, weeks) == shifted


def test_no_two_days_change_their_order() -> None:
    days = [date.fromordinal(FALL.begins.toordinal() + n) for n in range(-10, 130)]
    shifted = [shift_day(day, FALL, SPRING, 20) for day in days]
    assert shifted == sorted(shifted)


def test_holidays_are_read_as_people_write_them_and_come_back_the_same() -> None:
    read = read_holidays("\n2026-11-26 – 2026-11-27: Thanksgiving\n 2026-09-07 Labor Day \n")
    assert read == [
        Holiday(date(2026, 9, 7), date(2026, 9, 7), "Labor Day"),
        Holiday(date(2026, 11, 26), date(2026, 11, 27), "Thanksgiving"),
    ]
    assert read_holidays(write_holidays(read)) == read


@pytest.mark.parametrize(
    "line", ["Labor Day", "2026-02-30", "2026-11-27 to 2026-11-26", "2026-01-01 to 2027-01-01"]
)
def test_a_line_that_is_no_holiday_is_named(line: str) -> None:
    assert str(read_holidays(f"2026-09-07\n{line}")).startswith(
        f"Line 2 of the holidays can't be read: {line}."
    )
