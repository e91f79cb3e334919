"""The observer in the machine: its variables are signals that checks can name."""

import pytest

from server.marking.acceptance import acceptance_run
from server.marking.files.document import FileFault
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


SHOWN = (
    TEXT.replace(
        "internal bits:",
        '  - {symbol: level, address: "%IW1", device: LT-205, kind: level transmitter,\n'
        "     label: Level}\n"
        '  - {symbol: shown, address: "%QW1", device: LI-206, kind: number display,\n'
        "     label: Liters}\n"
        "internal bits:",
    )
    .replace("observer: |", "    level transmitters: [{tag: LT-205, vessel: tank}]\nobserver: |")
    .replace("  VAR\n", "  VAR\n    liters : INT;\n    off : BOOL;\n    off_for : TON;\n", 1)
    .replace(
        "  // The pump has run for long.\n",
        "  // Liters, rounded down; the display differs.\n"
        "  liters := level / 10 / 2;\n"
        "  off := shown <> liters AND off_for(PT := T#100ms);\n"
        "  // The pump has run for long.\n",
    )
    .replace(
        "      - whenever: RISING(start_pb)",
        "      - {never: off, given: power, fails: the display was wrong.}\n"
        "      - whenever: RISING(start_pb)",
    )
)


@pytest.mark.parametrize(("value", "right"), [("level / 20", True), ("level / 20 + 7", False)])
def test_an_observer_calculates_with_the_number_of_a_point(value: str, right: bool) -> None:
    """A display that is judged by it is described by what it showed."""
    declared = "level AT %IW1 : INT; shown AT %QW1 : INT;"
    seal = "pump := (start_pb OR pump) AND stop_pb AND NOT tank_high;"
    tried = acceptance_run(built(SHOWN), program(f"{seal} shown := {value};", declared))
    [first, *_] = tried.requirements
    assert (first.status is Status.MET) is right, first.sentence
    assert right or "the display was wrong" in first.sentence
    assert right or "shown showed 157 from the start" in first.sentence


@pytest.mark.parametrize(
    ("rung", "message"),
    [
        ("liters := levels / 20;", "levels is not declared."),
        ("shown := liters;", "shown is not declared."),
        ("liters := start_pb;", "start_pb is not declared."),
    ],
)
def test_what_an_observer_can_not_assign(rung: str, message: str) -> None:
    with pytest.raises(FileFault, match=message):
        built(SHOWN.replace("liters := level / 10 / 2;", f"IF TRUE THEN {rung} END_IF;"))
