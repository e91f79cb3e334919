"""The evidence of a violation: which stretch of the run is shown, and what is said of it."""

from dataclasses import replace

import pytest

from server.marking.acceptance import acceptance_run
from server.marking.check import Pattern
from server.marking.evidence import AFTER_MS, BEFORE_MS
from server.marking.verdict import Evidence
from tests.marking.apple_sump import EXERCISE, press, requirement, sump_program
from tests.marking.checks import pattern

LAMP = "lamp AND NOT fill_pump"
RUNS = "fill_pump := stop_pb;"


PRESSED = "Before that: Start (HS-201) was pressed at 4.00 s."


def evidence(check: Pattern, rungs: str) -> tuple[Evidence, str]:
    """What is shown of one check on a program: Start is pressed at 4 s, for the rest of the run."""
    pressed = replace(
        EXERCISE.scenarios[0], steps=(press("start_pb", after_ms=4000),), run_on_ms=12_000
    )
    asked = replace(EXERCISE, requirements=(requirement("R1", check),), scenarios=(pressed,))
    (judged,) = acceptance_run(asked, sump_program(rungs)).requirements
    assert judged.evidence is not None
    return judged.evidence, judged.sentence


def test_an_obligation_is_shown_from_before_it_began() -> None:
    check = pattern(whenever="start_pb", then="lamp", within="5 s")
    shown, sentence = evidence(check, RUNS)
    assert (shown.asked_ms, shown.allowed_ms, shown.at_ms) == (4000, 5000, 9000)
    assert shown.from_ms == 4000 - BEFORE_MS
    assert shown.to_ms == 9000 + AFTER_MS
    assert (shown.answered_ms, shown.broken) == (None, False)
    assert sentence == (
        'R1 not met: "lamp" must be true within 5.00 s whenever "start_pb" is true. '
        "Due at 4.00 s: lamp was still off 8.00 s later; 5.00 s is allowed. "
        f"lamp was off from the start to 12.00 s or longer. {PRESSED}"
    )


def test_an_answer_that_came_late_is_measured_from_when_it_was_asked_for() -> None:
    late = "lamp := start_pb AND sump_high;\nfill_pump := start_pb;"
    shown, sentence = evidence(pattern(whenever="start_pb", then="lamp", within="8.5 s"), late)
    assert shown.answered_ms is not None
    assert shown.answered_ms > 8500
    measured = f"lamp came on after {shown.answered_ms / 1000:.2f} s; 8.50 s is allowed."
    assert f"Due at 4.00 s: {measured}" in sentence


def test_what_is_no_obligation_is_shown_from_shortly_before_it_failed() -> None:
    shown, sentence = evidence(pattern(never="start_pb", given="power"), RUNS)
    assert (shown.at_ms, shown.from_ms, shown.asked_ms) == (4000, 4000 - BEFORE_MS, None)
    said = 'R1 not met: "start_pb" must never be true. At 4.00 s start_pb was on.'
    assert sentence == f"{said} {PRESSED}"


def test_an_answer_that_was_lost_again() -> None:
    check = pattern(whenever="start_pb", then="lamp", within="0 s", until="NOT stop_pb")
    shown, sentence = evidence(check, "lamp := RISING(start_pb);")
    assert (shown.broken, shown.at_ms) == (True, 4010)
    lost = "At 4.01 s lamp went off again. lamp was off from 4.01 s to 7.01 s or longer."
    assert sentence.endswith(f"{lost} {PRESSED}")


@pytest.mark.parametrize("rungs", [RUNS, "fill_pump := start_pb;"])
def test_the_lanes_are_those_of_the_check_and_of_what_changed(rungs: str) -> None:
    shown, _ = evidence(pattern(whenever="start_pb", then="lamp", within="50 ms"), rungs)
    lanes = {lane.name: lane for lane in shown.lanes}
    assert list(lanes)[:2] == ["start_pb", "lamp"]
    # A pump that never changes is not shown, one that does is.
    assert ("fill_pump" in lanes) == (rungs != RUNS)
    assert lanes["start_pb"].times_ms == (shown.from_ms, 4000)
    assert lanes["start_pb"].values == (0.0, 1.0)
