"""Trial runs: looking back, branching, handing over, and the acceptance runner's own trace."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.machine import assemble
from server.marking.replay import trace
from server.marking.scenario import Action, Adjust, Turn
from server.marking.trial.trial import SPACING, Recorded, TrialRun
from server.scan.assembler import Bit, Quantity
from server.scan.reading import planar, planes_of, value_of
from tests.marking.apple_sump import EXERCISE

RUNGS = """
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;
lamp := fill_pump AND delay(PT := T#500ms) OR RISING(sump_high);
IF RISING(start_pb) THEN starts := starts + 1; END_IF;
RISING(start_pb) AND presses(R := sump_high, PV := 3);
IF presses.Q AND FALLING(start_pb) THEN thrice := TRUE; END_IF;
"""


def program_of(rungs: str = RUNGS) -> Program:
    points = "\n".join(f"{p.symbol} AT {p.address} : {p.type};" for p in EXERCISE.points)
    own = "delay : TON; starts : INT; presses : CTU; thrice : BOOL;"
    return parse_program(f"PROGRAM sump\nVAR\n{points}\n{own}\nEND_VAR\n{rungs}\nEND_PROGRAM\n")


ACTIONS: list[Action] = [
    Turn("panel.start_pb", True),
    Turn("panel.start_pb", False),
    Turn("panel.stop_pb", True),
    Turn("panel.stop_pb", False),
    Turn("panel.use", True),
    Turn("panel.use", False),
    Turn("power", False),
    Turn("power", True),
    Turn("fault.stop_pb.broken wire", True),
    Adjust("sump.level", 0.95),
    Adjust("sump.level", 1.2),
]

doings = st.lists(
    st.tuples(st.lists(st.sampled_from(ACTIONS), max_size=3), st.integers(0, 300)), max_size=8
)
Doings = list[tuple[list[Action], int]]


def played(doings: Doings, program: Program | None = None) -> TrialRun:
    run = TrialRun(EXERCISE, program or program_of())
    for actions, scans in doings:
        run.act(*actions)
        run.step(scans)
    return run


def state(run: TrialRun, scan: int | None = None) -> tuple[list[int], list[float]]:
    """Every plane and quantity of lane 0, now or before a past scan."""
    live = run.live if scan is None else run.at(scan)[0]
    return (live.memory.bits & np.uint64(1)).tolist(), live.memory.quantities[:, 0].tolist()


@settings(max_examples=40)
@given(doings)
def test_recorded_run_gives_the_trace_of_the_acceptance_runner_to_the_bit(doings: Doings) -> None:
    run = played(doings)
    signals = run.live.assembled.signals
    bits = {n: s for n, s in signals.items() if isinstance(s, Bit)}
    rows = {n: s for n, s in signals.items() if isinstance(s, Quantity)}
    record = run.record(0, run.scan, [s.plane for s in bits.values()],
                        [s.row for s in rows.values()])  # fmt: skip
    assembled = assemble(EXERCISE, run.program, observe=True)
    replayed = trace(assembled, run.scenario("tried"), {**bits, **rows}, run.scan + 1)
    assert replayed.scans == run.scan
    for column, name in enumerate(bits):
        own = (record.bits[:, column] & np.uint64(1)).astype(np.float64)
        assert own.tolist() == replayed.signals[name].tolist(), name
    for column, name in enumerate(rows):
        assert record.values[:, column].tobytes() == replayed.signals[name].tobytes(), name


@settings(max_examples=40)
@given(doings, st.data())
def test_looking_back_is_exact(doings: Doings, data: st.DataObject) -> None:
    run = TrialRun(EXERCISE, program_of())
    seen = {}
    for actions, scans in doings:
        run.act(*actions)
        run.step(scans)
        seen[run.scan] = state(run)
    now = state(run)
    for scan in data.draw(st.lists(st.sampled_from([*seen]), max_size=4)) if seen else []:
        if scan not in [s for s, _ in run.recorded().events]:
            assert state(run, scan) == seen[scan]
    assert state(run) == now


def test_a_press_that_ends_at_once_lasts_for_one_scan() -> None:
    run = TrialRun(EXERCISE, program_of())
    run.step(5)
    run.act(Turn("panel.start_pb", True))
    run.act(Turn("panel.start_pb", False))
    pressed = run.step(3, [run.live.assembled.plane("start_pb")])
    assert pressed[:, 0].tolist() == [True, False, False]
    run.act(Turn("panel.stop_pb", True))
    run.act(Turn("panel.stop_pb", False))
    run.act(Turn("panel.stop_pb", True))
    held = run.step(3, [run.live.assembled.plane("stop_pb")])
    assert held[:, 0].tolist() == [False, False, False]


def test_branching_forgets_the_future_and_only_that() -> None:
    run = played([([Turn("panel.start_pb", True)], 30), ([Turn("panel.start_pb", False)], 470)])
    before = state(run, 100)
    run.branch(100)
    assert run.scan == 100
    assert state(run) == before
    run.act(Turn("panel.stop_pb", True))
    run.step(50)
    assert [scan for scan, _ in run.recorded().events] == [0, 30, 100]
    assert run.live.memory.bits[run.live.assembled.plane("fill_pump")] & np.uint64(1) == 0


@settings(max_examples=30)
@given(doings)
def test_saved_run_happens_again(doings: Doings) -> None:
    run = played(doings)
    again = TrialRun.load(EXERCISE, run.recorded())
    while again.to_come:
        again.step(min(37, again.to_come))
    assert state(again) == state(run)
    assert again.recorded() == run.recorded()


@settings(max_examples=40)
@given(doings, doings)
def test_handing_over_to_the_same_program_changes_nothing(first: Doings, then: Doings) -> None:
    run = played(first)
    once, twice = (TrialRun.load(EXERCISE, run.recorded()) for _ in range(2))
    for each in (once, twice):
        each.step(run.scan)
    twice.exchange(replace(program_of(), name="the same rungs"))
    for actions, scans in then:
        for each in (once, twice):
            each.act(*actions)
            each.step(scans)
    for each in (once, twice):
        each.step(1)  # planes that hold nothing between scans are those of the last one
    assert state(twice) == state(once)


PRESSED: Doings = [([], 10), ([Turn("panel.start_pb", True)], 40)]


def value(run: TrialRun, name: str) -> int:
    """A variable or block output of the program, now."""
    symbols = run.live.assembled.program.symbols
    signal = planar(symbols.items())[name]
    bits = (run.live.memory.bits[planes_of(signal)] & np.uint64(1)).astype(np.bool_)
    return int(value_of(signal, bits))


def test_new_version_keeps_plant_and_variables_and_sees_no_edge() -> None:
    run = played(PRESSED)
    before = state(run)[1]
    assert value(run, "starts") == 1
    run.exchange(program_of(RUNGS + "IF RISING(start_pb) THEN starts := starts + 10; END_IF;"))
    assert state(run)[1] == before
    run.step(5)
    assert value(run, "fill_pump") == 1
    assert value(run, "starts") == 1
    assert value(run, "delay.et") == 440


def test_timer_with_another_preset_starts_afresh() -> None:
    run = played(PRESSED)
    run.exchange(program_of(RUNGS.replace("500ms", "700ms")))
    run.step(1)
    assert value(run, "delay.et") == 10


def test_changes_between_two_scans_are_one_and_one_taken_back_is_none() -> None:
    run = played(PRESSED)
    run.act(Turn("panel.use", True))
    before, recorded = state(run), run.recorded()
    other = program_of(RUNGS.replace("500ms", "700ms"))
    run.exchange(other)
    assert value(run, "delay.et") == 0
    run.exchange(program_of())
    assert (state(run), run.recorded(), run.takeovers) == (before, recorded, [])
    run.exchange(other)
    run.exchange(program_of(RUNGS + "lamp := NOT sump_high;"))
    assert (run.versions, run.takeovers) == (2, [run.scan])
    run.step(1)
    assert value(run, "delay.et") == 400, "the timer goes on as if there had been one change"
    run.exchange(program_of())
    assert len(run.takeovers) == 2


def test_looking_back_past_a_change_of_program() -> None:
    run = played(PRESSED)
    early = state(run, 40)
    run.act(Turn("panel.use", True))
    run.exchange(program_of(RUNGS.replace("NOT sump_high", "sump_high")))
    run.act(Turn("panel.stop_pb", True))
    run.step(SPACING * 2)
    planes = [run.live.assembled.plane(name) for name in ("panel.use", "stop_pb")]
    record = run.record(50, run.scan, planes, [run.live.assembled.row("sump.level")])
    assert (record.bits & np.uint64(1)).tolist() == [[1, 0]] * SPACING * 2
    assert record.values[-1, 0] == state(run)[1][run.live.assembled.row("sump.level")]
    assert state(run, 40) == early
    assert run.at(40)[1] == program_of()
    assert run.at(60)[1] != program_of()
    again = TrialRun.load(EXERCISE, run.recorded())
    while again.to_come:
        again.step(64)
    assert state(again) == state(run)


def test_actions_on_the_next_version_from_the_start() -> None:
    run = played(PRESSED)
    other = program_of(RUNGS.replace("start_pb OR", "stop_pb OR"))
    again = TrialRun.load(EXERCISE, Recorded.on(run.recorded(), other))
    again.step(again.to_come)
    assert again.program == other
    assert again.recorded().events == run.recorded().events


def test_why_names_the_press_and_the_rung() -> None:
    run = played([*PRESSED, ([Turn("panel.start_pb", False)], 100)])
    reasons = run.why("fill_pump", run.scan - 1)
    assert [r.text for r in reasons] == [
        "fill_pump came ON at 0.10 s: rung 1 conducted when start_pb came ON.",
        "It has held itself in since then while stop_pb is ON and sump_high is OFF.",
        "start_pb came ON at 0.10 s: push-button HS-201. Without that, fill_pump would be OFF.",
    ]


def test_many_versions_are_looked_back_on() -> None:
    run = played(PRESSED)
    seen = {}
    for number in range(8):
        run.exchange(program_of(RUNGS.replace("500ms", f"{501 + number}ms")))
        run.step(10)
        seen[run.scan - 5] = run.program
    for scan, program in seen.items():
        assert run.at(scan)[1] == program
    assert run.versions == 9
