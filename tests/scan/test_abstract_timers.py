"""Timers for proofs: whatever the exact timers do, some sequence of choices does too."""

from collections.abc import Iterator

from hypothesis import given, note, settings
from hypothesis import strategies as st

from server.ladder.program import Block, Comparison, Duration, Name, Program, walk
from server.ladder.text_form import print_program
from server.scan.assembler import Bit
from tests.scan.crowded import crowded_programs
from tests.scan.lane_run import LaneRun
from tests.scan.stimulus import Stimulus


def choices(program: Program) -> Iterator[tuple[str, str]]:
    """Type and Q of the timer that each choice plane decides, in order of evaluation.

    A timer whose ET is read counts exactly, and one without a preset has no choice.
    """
    elements = [element for rung in program.rungs for _, element in walk(rung.network)]
    compared = [e for e in elements if isinstance(e, Comparison)]
    read = {side for e in compared for side in (e.left, e.right)}
    types = {v.symbol: v.type for v in program.variables}
    for element in elements:
        if isinstance(element, Block) and Name(f"{element.instance}.ET") not in read:
            preset = {wired.pin: wired.operand for wired in element.inputs}.get("PT", Duration(0))
            if preset != Duration(0):
                yield types[element.instance], f"{element.instance}.q"


@settings(max_examples=60)
@given(crowded_programs(), st.integers(0, 2**32 - 1), st.sampled_from([10, 7]))
def test_every_exact_run_is_a_sequence_of_choices(
    program: Program, seed: int, period_ms: int
) -> None:
    note(print_program(program))
    exact = LaneRun(program, period_ms)
    abstract = LaneRun(program, period_ms, exact_timers=False)
    decided = list(zip(abstract.machine.choices, choices(program), strict=True))
    stimulus = Stimulus(program, seed)
    for scan in range(20):
        inputs, supplied = stimulus.next()
        exact.scan(inputs, supplied)
        after = exact.signals()
        for plane, (kind, q) in decided:
            # The time of a TON is over when Q comes, that of the others when it goes.
            abstract.write(Bit(plane), [v if kind == "TON" else 1 - v for v in after[q]])
        abstract.scan(inputs, supplied)
        found = abstract.signals()
        for name, values in after.items():
            if not name.endswith(".et"):
                assert found[name] == values, f"{name} after scan {scan}"
