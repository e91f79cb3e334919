"""The sentences of a verdict, word by word."""

from dataclasses import replace

import numpy as np
import pytest

from server.marking.check import Pattern
from server.marking.failed_run import FailedRun, SignalWords
from server.marking.operator_acts import Act
from server.marking.phrases import known_by_scenarios, plant_time, seconds
from tests.marking.checks import pattern

NOTHING = "Before that, no control was worked."
PUMP = SignalWords("pump", ("running", "stopped"), ("started", "stopped"))


def run(
    scan: int,
    judged: str,
    asked: int | None = None,
    answered: int | None = None,
    *,
    broken: bool = False,
    **signals: str,
) -> FailedRun:
    """A run in scans of 100 ms: each signal as a row of 1 and 0."""
    return FailedRun(
        period_ms=100,
        scan=scan,
        judged=np.array([s == "1" for s in judged]),
        signals={
            name.replace("_on", ".on"): np.array([float(s) for s in row])
            for name, row in signals.items()
        },
        asked=asked,
        answered=answered,
        broken=broken,
        words={"pump.on": PUMP},
    )


def test_times_and_numbers() -> None:
    assert (seconds(0), seconds(520), seconds(61_005)) == ("0.00 s", "0.52 s", "61.01 s")
    assert (plant_time(59_999), plant_time(60_000), plant_time(372_000)) == (
        *("60 s", "1.0 min", "6.2 min"),
    )
    assert known_by_scenarios(1, 4000) == "held in 1 scenario (4 s of plant time)"
    assert known_by_scenarios(11, 72_000) == "held in 11 scenarios (1.2 min of plant time)"


RESPONSE = pattern(whenever="NOT stop", then="NOT pump.on", within="100 ms")
BOTH = pattern(whenever="go", then="pump.on AND (a OR b)", within="0 s", until="stop")
SENTENCES = [
    # An answer that never came, that came late, and that was lost again.
    (RESPONSE, run(2, "0000", asked=1, pump_on="1111"),
     '"NOT pump.on" must be true within 0.10 s whenever "NOT stop" is true. '
     "Due at 0.10 s: pump was still running 0.20 s later; 0.10 s is allowed."),
    (RESPONSE, run(2, "0001", asked=1, answered=3, pump_on="1110"),
     '"NOT pump.on" must be true within 0.10 s whenever "NOT stop" is true. '
     "Due at 0.10 s: pump stopped after 0.20 s; 0.10 s is allowed."),
    (BOTH, run(2, "0110", asked=1, broken=True, pump_on="0100"),
     '"pump.on AND (a OR b)" must be true within 0.00 s whenever "go" is true, until "stop". '
     "At 0.20 s pump stopped again."),
    (BOTH, run(1, "0000", asked=1, pump_on="0010"),
     '"pump.on AND (a OR b)" must be true within 0.00 s whenever "go" is true, until "stop". '
     'Due at 0.10 s: "pump.on AND (a OR b)" was still not so 0.20 s later; 0.00 s is allowed.'),
    (BOTH, run(1, "0001", asked=1, answered=3, pump_on="1111"),
     '"pump.on AND (a OR b)" must be true within 0.00 s whenever "go" is true, until "stop". '
     'Due at 0.10 s: "pump.on AND (a OR b)" became so after 0.20 s; 0.00 s is allowed.'),
    # What must not be, what must be, and what came too early.
    (pattern(never="pump.on AND NOT power", given="go"), run(1, "01", pump_on="01", power="10"),
     '"pump.on AND NOT power" must never be true. '
     "At 0.10 s pump was running and power was off."),
    (pattern(never="a OR b", given="go"), run(1, "01"),
     '"a OR b" must never be true. At 0.10 s "a OR b" was true.'),
    (pattern(always="stop AND power", given="go"), run(1, "10", stop="11", power="10"),
     '"stop AND power" must be true whenever "go" is. At 0.10 s power was off.'),
    (pattern(always="a OR b", given="go"), run(1, "10"),
     '"a OR b" must be true whenever "go" is. At 0.10 s "a OR b" was not so.'),
    (pattern(only="pump.on", after="go"), run(0, "1", pump_on="1", go="0"),
     '"pump.on" may be true only after "go". '
     'At 0.00 s pump was running; in this run "go" had not been true before.'),
    (pattern(only="a", after="go", afresh="stop"), run(1, "01", a="01", go="10"),
     '"a" may be true only after "go" (again after "stop"). '
     'At 0.10 s a was on; "go" was last true at 0.00 s.'),
    # How long, and how often.
    (pattern(lasts="pump.on", at_least="500 ms", at_most="1 s"), run(4, "01110", pump_on="01110"),
     '"pump.on" must last at least 0.50 s and at most 1.00 s. '
     "pump was running for 0.30 s until 0.40 s; at least 0.50 s is required."),
    (pattern(lasts="a", at_most="200 ms"), run(3, "01111", a="01111"),
     '"a" must last at most 0.20 s. a was on for 0.30 s by 0.30 s; at most 0.20 s is allowed.'),
    (pattern(steady="a", changes=1, window="300 ms"), run(4, "11010", a="11010"),
     '"a" may make at most 1 change in 0.30 s. '
     '"a" made 3 changes in the 0.30 s up to 0.40 s; at most 1 are allowed.'),
]  # fmt: skip


@pytest.mark.parametrize(("check", "failing", "sentence"), SENTENCES)
def test_why_a_requirement_is_not_met(check: Pattern, failing: FailedRun, sentence: str) -> None:
    assert check.not_met("R2", failing) == f"R2 not met: {sentence} {NOTHING}"


def test_a_sentence_names_what_was_done_and_how_long_the_output_was_so() -> None:
    check = pattern(never="running AND late", given="go", fails="the pump ran too long.")
    failing = replace(
        run(2, "0010", pump="0110", running="0110", late="0011"),
        outputs=("pump",),
        own=frozenset({"running", "late"}),
        acts=(Act(0, "Start (HS-1) was pressed"), Act(3, "Stop (HS-2) was pressed")),
    )
    assert check.not_met("R1", failing) == (
        "R1 not met: the pump ran too long. At 0.20 s it happened. "
        "pump was on from 0.10 s to 0.30 s. Before that: Start (HS-1) was pressed at 0.00 s."
    )


def test_the_authors_sentence_stands_before_what_was_measured() -> None:
    check = pattern(never="a", given="go", fails=" The lamp must stay dark. ", idle="nobody went.")
    said = check.not_met("R1", run(0, "1", a="1"))
    assert said == f"R1 not met: The lamp must stay dark. At 0.00 s a was on. {NOTHING}"
    assert check.not_reached("R1") == "R1 not reached: nobody went."


@pytest.mark.parametrize(
    ("check", "clause"),
    [
        (pattern(never="a", given="go"), 'was "go" true'),
        (pattern(always="a", given="go"), 'was "go" true'),
        (pattern(only="a", after="go"), 'was "a" true'),
        (RESPONSE, 'was "NOT stop" true'),
        (
            pattern(
                whenever="go", then="a", within="0 s", held_for="1 s", until="b", unless="stop"
            ),
            'was "go" true for 1.00 s without "b" or "stop"',
        ),
        (pattern(lasts="a", at_least="1 s"), 'did "a" begin and end'),
        (pattern(lasts="a", at_least="1 s", at_most="2 s"), 'did "a" begin'),
        (pattern(steady="a", changes=0, window="1 s"), 'did "a" change'),
    ],
)
def test_why_a_requirement_is_not_reached(check: Pattern, clause: str) -> None:
    assert check.not_reached("R4b") == f"R4b not reached: in no scenario {clause}."
