"""Texts that went wrong somewhere: each is refused with messages, or runs like the reference."""

from collections import Counter
from random import Random

from hypothesis import event, given, note, settings
from hypothesis import strategies as st

from server.ladder.text_form import print_program
from tests.damage import damaged
from tests.fuzzed import REFUSED, RUNS, accepted, exercise_file, program
from tests.scan.crowded import crowded
from tests.scan.test_kernel import check


@settings(max_examples=400)
@given(st.integers(0, 2**32 - 1))
def test_a_damaged_program_is_refused_or_runs(seed: int) -> None:
    random = Random(seed)
    text = damaged(print_program(crowded(seed)), random)
    note(text)
    program = accepted(text)
    event("refused" if program is None else "runs")
    if program is not None:
        check(program, seed, period_ms=10, observe=False, scans=2)


def test_damage_leaves_some_programs_right() -> None:
    """So that the test above sees the compiler, and not refusals only."""
    random = Random(131)
    found = [accepted(damaged(print_program(crowded(seed)), random)) for seed in range(100)]
    assert 10 < sum(program is not None for program in found) < 80


def test_damaged_programs_in_each_form_are_refused_or_run() -> None:
    """Ten thousand of them: ``python -m tests.load.fuzz``."""
    found = Counter((seed % 3, program(seed)) for seed in range(150))
    assert found.keys() == {(form, each) for form in range(3) for each in (REFUSED, RUNS)}


def test_damaged_exercise_files_are_refused_or_run() -> None:
    found = Counter(exercise_file(seed) for seed in range(100))
    assert min(found[REFUSED], found[RUNS]) >= 5
