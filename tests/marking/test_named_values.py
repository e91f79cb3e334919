"""Times and counts are read from the statement and the requirements as people write them."""

from dataclasses import replace

from server.marking.faults.named_values import named_counts, named_times
from tests.marking.apple_sump import EXERCISE

TEXT = """
The tank soaks for 4 s, and is drained until 1.5 min after LSL-255 has dropped out (R2a).
1. A row of three crates, or 12 of them, is moved within 500 ms. It rests for 4 s.
"""
SUMP = replace(EXERCISE, statement=TEXT, requirements=())


def test_durations_are_read_with_their_units() -> None:
    assert named_times(SUMP) == (4000, 90_000, 500)


def test_counts_have_no_unit_and_are_no_part_of_a_tag() -> None:
    assert named_counts(SUMP) == (12, 3)
