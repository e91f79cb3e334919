"""The kernel equals the plain interpreter, bit for bit, in every one of its 64 lanes."""

from collections.abc import Iterable

from hypothesis import currently_in_test_context, given, note, settings
from hypothesis import strategies as st

from server.ladder.program import Program
from server.ladder.text_form import print_program
from server.scan.assembler import Bit
from server.scan.instructions import FALSE, TRUE
from server.scan.lanes import ALL, LANES
from tests.reference import Controller
from tests.scan.crowded import crowded_programs
from tests.scan.lane_run import LaneRun
from tests.scan.stimulus import LaneValues, Stimulus
from tests.strategies import programs


def reference_signals(controllers: Iterable[Controller]) -> LaneValues:
    """The signals of 64 plain controllers, in the shape of ``LaneRun.signals``."""
    lanes = [{**c.signals(), "FAULT": int(c.fault)} for c in controllers]
    return {name: [lane[name] for lane in lanes] for name in lanes[0]}


def assert_equal(run: LaneRun, controllers: list[Controller], scan: int) -> None:
    found = run.signals()
    for name, expected in reference_signals(controllers).items():
        if name in run.constants:
            continue
        key = name if name == "FAULT" else name.lower()
        assert found[key] == expected, f"{name} after scan {scan}"


def check(program: Program, seed: int, period_ms: int, observe: bool, scans: int = 14) -> None:
    """Run 64 lanes and 64 plain controllers side by side."""
    if currently_in_test_context():
        note(print_program(program))
    run = LaneRun(program, period_ms, observe=observe)
    controllers = [Controller(program, period_ms) for _ in range(LANES)]
    stimulus = Stimulus(program, seed)
    for scan in range(scans):
        inputs, supplied = stimulus.next()
        run.scan(inputs, supplied)
        for lane, controller in enumerate(controllers):
            mine = {address: values[lane] for address, values in inputs.items()}
            controller.scan(mine, bool(supplied[lane]))
        assert_equal(run, controllers, scan)
        if observe:
            for place, plane in run.compiled.power.items():
                for lane, carries in enumerate(run.read(Bit(plane))):
                    assert not supplied[lane] or carries == controllers[lane].power[place], place
    assert run.bits[FALSE] == 0, "the constant FALSE was written"
    assert run.bits[TRUE] == ALL, "the constant TRUE was written"


SEEDS = st.integers(0, 2**32 - 1)
PERIODS = st.sampled_from([10, 7, 1, 100])


@settings(max_examples=40)
@given(programs(max_rungs=6), SEEDS, PERIODS, st.booleans())
def test_small_programs_equal_the_plain_interpreter_in_every_lane(
    program: Program, seed: int, period_ms: int, observe: bool
) -> None:
    check(program, seed, period_ms, observe)


@settings(max_examples=100)
@given(crowded_programs(), SEEDS, PERIODS, st.booleans())
def test_crowded_programs_equal_the_plain_interpreter_in_every_lane(
    program: Program, seed: int, period_ms: int, observe: bool
) -> None:
    check(program, seed, period_ms, observe)
