"""Monitors against the reference temporal-logic library and a brute-force count.

The library is rtamt 0.4.10 (discrete-time STL, Nickovic and Yamaguchi, ATVA 2020). Its booleans
are coded as +1 and -1, since 0 has no sign. Traces are padded so that neither the library's
cut windows at the ends nor a missing past decides; it needs two samples or more.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.marking.check import Pattern
from server.marking.checks import CHECKS
from server.scan.assembler import Assembler
from server.scan.instructions import TRUE
from server.scan.kernel import execute
from tests.marking.checks import pattern

PERIOD = 10
NAMES = ("p", "q", "r")


Samples = list[tuple[bool, bool, bool]]


def violated(check: Pattern, samples: Sequence[tuple[bool, ...]]) -> bool:
    """Whether the monitor sees a violation somewhere in the trace; lane 5 carries it."""
    asm = Assembler(PERIOD)
    planes = {name: asm.control() for name in NAMES}
    with asm.section("monitors"):
        monitor = check.monitor(asm, lambda e: planes[e.text], TRUE)
    machine = asm.machine()
    bits = machine.initial.copy()
    for sample in samples:
        for name, value in zip(NAMES, sample, strict=True):
            bits[planes[name]] = np.uint64(int(value) << 5)
        execute(machine.code, 0, len(machine.code), bits, machine.initial, machine.table)
    return bool((int(bits[monitor.violated]) >> 5) & 1)


def time(scans: int) -> str:
    return f"{scans * PERIOD} ms"


def response(bound: int, **more: object) -> Pattern:
    return pattern(whenever="p", then="q", within=time(bound), **more)


def holds(formula: str, samples: Sequence[tuple[bool, ...]]) -> bool:
    """The library's verdict on a formula over p, q and r at the first sample."""
    import rtamt  # noqa: PLC0415 (not on every Python)

    spec = rtamt.StlDiscreteTimeSpecification()
    for name in NAMES:
        spec.declare_var(name, "float")
    spec.set_sampling_period(PERIOD, "ms", 0.1)
    for name in NAMES:
        formula = formula.replace(name.upper(), f"({name} >= 0)")
    spec.spec = formula
    spec.parse()
    data: dict[str, list[float]] = {"time": [i * PERIOD / 1000 for i in range(len(samples))]}
    for i, name in enumerate(NAMES):
        data[name] = [1.0 if sample[i] else -1.0 for sample in samples]
    return bool(spec.evaluate(data)[0][1] > 0)


traces = st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=2, max_size=24)
scans = st.integers(0, 6)


def test_every_pattern_is_tried_here() -> None:
    tried = Path(__file__).read_text()
    patterns = {key for key, kind in CHECKS.items() if issubclass(kind, Pattern)}
    assert {key for key in patterns if f"pattern({key}=" not in tried} == set()


reference = pytest.mark.needs_rtamt
REST = (False, False, False)
ANSWERED = (False, True, False)


@reference
@settings(max_examples=60, deadline=None)
@given(traces)
def test_absence_and_universality(samples: Samples) -> None:
    assert violated(pattern(never="p", given="q"), samples) is not holds("always(not P)", samples)
    assert violated(pattern(always="p", given="q"), samples) is not holds(
        "always(Q implies P)", samples
    )


@reference
@settings(max_examples=100, deadline=None)
@given(traces, scans)
def test_bounded_response(samples: Samples, bound: int) -> None:
    trace = [*samples, *[ANSWERED] * (bound + 1)]
    formula = f"always(P implies (eventually[0:{bound * PERIOD}ms] Q))"
    assert violated(response(bound), trace) is not holds(formula, trace)


@reference
@settings(max_examples=100, deadline=None)
@given(traces, scans)
def test_bounded_response_unless_released(samples: Samples, bound: int) -> None:
    trace = [*samples, *[ANSWERED] * (bound + 1)]
    formula = f"always((P and not R) implies (eventually[0:{bound * PERIOD}ms] (Q or R)))"
    assert violated(response(bound, unless="r"), trace) is not holds(formula, trace)


@reference
@settings(max_examples=150, deadline=None)
@given(traces, scans)
def test_response_that_must_stay_until_released(samples: Samples, bound: int) -> None:
    trace = [*samples, *[ANSWERED] * (bound + 1)]
    n = len(trace)
    stays = f"(Q unless[0:{n * PERIOD}ms] R)"
    formula = (
        f"always((P and not R) implies "
        f"((not Q) until[0:{bound * PERIOD}ms] (R or (Q and {stays}))))"
    )
    assert violated(response(bound, until="r"), trace) is not holds(formula, trace)


@reference
@settings(max_examples=80, deadline=None)
@given(traces, st.integers(1, 5), scans)
def test_response_to_a_trigger_that_was_held(samples: Samples, held: int, bound: int) -> None:
    trace = [*[REST] * (held + 1), *samples, *[ANSWERED] * (bound + 1)]
    formula = (
        f"always((historically[0:{held * PERIOD}ms] P) implies "
        f"(eventually[0:{bound * PERIOD}ms] Q))"
    )
    assert violated(response(bound, held_for=time(held)), trace) is not holds(formula, trace)


@reference
@settings(max_examples=60, deadline=None)
@given(traces)
def test_precedence(samples: Samples) -> None:
    assert violated(pattern(only="p", after="q"), samples) is not holds(
        "always(P implies (once Q))", samples
    )


@settings(max_examples=200, deadline=None)
@given(traces)
def test_precedence_starts_afresh(samples: Samples) -> None:
    allowed, broken = False, False
    for p, q, r in samples:
        allowed = (allowed and not r) or q
        broken |= p and not allowed
    assert violated(pattern(only="p", after="q", afresh="r"), samples) is broken


@reference
@settings(max_examples=100, deadline=None)
@given(traces, st.integers(1, 6))
def test_lasts_at_least(samples: Samples, least: int) -> None:
    trace = [REST, *samples]
    formula = f"always((rise(P)) implies (always[0:{(least - 1) * PERIOD}ms] P))"
    assert violated(pattern(lasts="p", at_least=time(least)), trace) is not holds(formula, trace)


@reference
@settings(max_examples=100, deadline=None)
@given(traces, st.integers(1, 6))
def test_lasts_at_most(samples: Samples, most: int) -> None:
    trace = [*[REST] * (most + 1), *samples]
    formula = f"always(not (historically[0:{most * PERIOD}ms] P))"
    assert violated(pattern(lasts="p", at_most=time(most)), trace) is not holds(formula, trace)


@settings(max_examples=200, deadline=None)
@given(traces, st.integers(1, 4), st.integers(1, 8))
def test_steady_counts_changes_in_each_window(samples: Samples, changes: int, window: int) -> None:
    trace = [REST, *samples]
    at = [i for i in range(1, len(trace)) if trace[i][0] != trace[i - 1][0]]
    broken = any(at[i + changes] - at[i] < window for i in range(len(at) - changes))
    assert violated(pattern(steady="p", changes=changes, window=time(window)), trace) is broken


@pytest.mark.parametrize(("bound", "passes"), [(2, False), (3, True), (4, True)])
def test_response_at_the_bound(bound: int, passes: bool) -> None:
    """Request in sample 2, answer in sample 5: the table 'Check (run)' for rtamt 0.4.10."""
    samples = [(i == 2, i == 5, False) for i in range(10)]
    assert violated(response(bound), samples) is not passes
