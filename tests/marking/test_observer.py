"""The observer in the machine: its variables are signals that checks can name."""

import pytest

from server.marking.verdict import Status
from tests.marking.small_exercise import TEXT, built, program
from tests.marking.statuses import statuses

SEALED = program("pump := (start_pb OR pump) AND stop_pb AND NOT tank_high;")


@pytest.mark.parametrize(
    ("check", "status"),
    [
        # The pump runs from 300 mm to 800 mm at 10 mm/s: 50 s.
        ("{never: late, given: fill_pump}", Status.NOT_MET),
        ("{never: long.Q, given: fill_pump}", Status.NOT_MET),
        ("{never: long.ET > T#5s, given: fill_pump}", Status.MET),
        ("{whenever: fill_pump, held for: 5 s, then: late, within: 20 ms}", Status.MET),
        ("{never: tank.level >= 810, given: tank.level >= 790}", Status.MET),
        ("{never: tank.level >= 790, given: fill_pump}", Status.NOT_MET),
        ("{never: tank.level > 900, given: tank.level > 899}", Status.NOT_EXERCISED),
    ],
)
def test_checks_name_signals_of_observer_and_plant(check: str, status: Status) -> None:
    old = "{lasts: fill_pump, at least: 100 ms, at most: 1 min}"
    assert old in TEXT
    assert statuses(built(TEXT.replace(old, check)), SEALED)["R1"] is status


@pytest.mark.parametrize(
    ("name", "status"), [("filling AT %MX0.0", Status.NOT_MET), ("own", Status.MET)]
)
def test_a_bit_that_the_statement_names_is_a_signal_and_false_where_it_is_missing(
    name: str, status: Status
) -> None:
    old = "{lasts: fill_pump, at least: 100 ms, at most: 1 min}"
    exercise = built(TEXT.replace(old, "{never: filling, given: fill_pump}"))
    symbol = name.split(maxsplit=1)[0]
    written = program(
        f"{symbol} := (start_pb OR {symbol}) AND stop_pb AND NOT tank_high; pump := {symbol};",
        f"{name} : BOOL;",
    )
    assert statuses(exercise, written)["R1"] is status
