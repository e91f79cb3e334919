"""Shortened scenarios show the same violation in less time."""

from dataclasses import replace

from server.marking.faults.catching import complaints
from server.marking.faults.shortening import shortened
from server.marking.scenario import Scenario
from tests.marking.apple_sump import EXERCISE, press, release, sump_program

NO_SEAL_IN = sump_program("fill_pump := start_pb AND stop_pb AND NOT sump_high;")
STEPS = (press("start_pb", after_ms=7340), release("start_pb", after_ms=3210))
LONG = Scenario("found", STEPS, run_on_ms=60_000)


def test_pauses_and_the_end_become_short_and_tidy() -> None:
    short = shortened(EXERCISE, NO_SEAL_IN, 0, LONG)
    assert [step.after_ms for step in short.steps] == [100, 100]
    assert short.run_on_ms == 100
    assert replace(short, steps=LONG.steps, run_on_ms=LONG.run_on_ms) == LONG
    assert 0 in complaints(replace(EXERCISE, scenarios=(short,)), NO_SEAL_IN)


def test_times_that_the_violation_needs_are_kept() -> None:
    # The lamp is missed only once the sump is full, ten seconds after the start.
    no_lamp = sump_program("fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;")
    short = shortened(EXERCISE, no_lamp, 3, LONG)
    assert short.run_on_ms == 10_000
    assert sum(step.after_ms for step in short.steps) == 200
