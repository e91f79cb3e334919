"""The evidence of a violation: its scenario replayed, with the signals around the moment."""

import numpy as np
from numpy.typing import NDArray

from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.failed_run import FailedRun, words_of
from server.marking.files.observer import own_signals
from server.marking.judged_outputs import judged_outputs
from server.marking.machine import Assembled
from server.marking.operator_acts import acts_in, control_signals
from server.marking.replay import Trace, trace
from server.marking.scenario import Scenario
from server.marking.verdict import Evidence, Lane
from server.scan.assembler import Bit, Quantity, Signal, Word

BEFORE_MS, AFTER_MS = 2000, 3000
"""How much is shown before and after the failure."""

MAX_LANES = 12

ASKED, JUDGED = "?asked", "?judged"
"""Names of a monitor's planes in a trace, beside those of the signals."""


def names_in(check: Pattern) -> tuple[str, ...]:
    """Return the lower-case names of the signals that a check speaks of, in their order."""
    names = (name for condition in check.conditions().values() for name in condition.names())
    return tuple(dict.fromkeys(names))


def look_at(
    exercise: Exercise, assembled: Assembled, monitor: int, scenario: Scenario, scan: int
) -> tuple[Evidence, FailedRun]:
    """Replay a scenario up to a little after ``scan``, in which a monitor saw a violation.

    Return the evidence, and the run for the check's sentence.
    """
    period = assembled.machine.period_ms
    check = assembled.checks[monitor]
    shown = _signals(exercise, assembled, check)
    circuit = assembled.monitors[monitor]
    probes: dict[str, Signal] = {ASKED: Bit(circuit.asked), JUDGED: Bit(circuit.judged)}
    controls = control_signals(assembled.signals)
    run_to = scan + AFTER_MS // period
    traced = trace(assembled, scenario, shown | probes | controls, run_to + 1)
    last = traced.scans - 1
    asked, answered, broken = None, None, False
    allowed = check.allowed_ms
    if allowed is not None:
        asked, answered, broken = _response(traced, scan, allowed // period)
    first = max(0, min(scan, scan if asked is None else asked) - BEFORE_MS // period)
    evidence = Evidence(
        scenario=scenario.name,
        open=scenario.open,
        at_ms=scan * period,
        from_ms=first * period,
        to_ms=last * period,
        lanes=_lanes(traced, shown, first, period, names_in(check)),
        asked_ms=None if asked is None else asked * period,
        allowed_ms=allowed,
        answered_ms=None if answered is None or asked is None else (answered - asked) * period,
        broken=broken,
    )
    run = FailedRun(
        period_ms=period,
        scan=scan,
        judged=traced.signals[JUDGED] > 0,
        signals=traced.signals,
        asked=asked,
        answered=answered,
        broken=broken,
        outputs=judged_outputs(exercise, check),
        acts=acts_in(
            exercise.points,
            exercise.plant,
            {name: traced.signals[name] for name in controls},
        ),
        own=frozenset(own_signals(exercise.observer)),
        words=words_of(exercise.points),
    )
    return evidence, run


def _response(traced: Trace, scan: int, allowed: int) -> tuple[int, int | None, bool]:
    """Return the scan of the request, that of the answer if it came, and whether it was lost."""
    request, answer = traced.signals[ASKED] > 0, traced.signals[JUDGED] > 0
    due = scan - allowed
    # Where no time is allowed, an answer that was there a scan before was lost, not late.
    lost = bool(scan and request[scan - 1] and answer[scan - 1])
    if not lost and due >= 0 and request[due] and not answer[due : scan + 1].any():
        later = np.flatnonzero(answer[scan:])
        return due, (scan + int(later[0]) if later.size else None), False
    before = np.flatnonzero(request[: scan + 1])
    return (int(before[-1]) if before.size else scan), None, True


def _signals(exercise: Exercise, assembled: Assembled, check: Pattern) -> dict[str, Signal]:
    names = dict.fromkeys(names_in(check))
    names |= dict.fromkeys(p.symbol.lower() for p in exercise.points)
    signals = {name: assembled.signals[name] for name in names if name in assembled.signals}
    return {n: s for n, s in signals.items() if isinstance(s, Bit | Word | Quantity)}


def _lanes(
    traced: Trace, signals: dict[str, Signal], first: int, period: int, named: tuple[str, ...]
) -> tuple[Lane, ...]:
    """Signals of the check, then others that changed in the window, as values at their changes."""
    lanes = []
    for name, signal in signals.items():
        values = traced.signals[name][first:]
        number = "INT" if isinstance(signal, Word) else ""
        unit = signal.unit if isinstance(signal, Quantity) else number
        if unit:
            values = np.round(values, 4)
        starts = _changes(values, every=max(1, 100 // period) if unit else 1)
        if name in named or starts.size > 1:
            times = tuple(int(first + i) * period for i in starts)
            lanes.append(Lane(name, times, tuple(float(values[i]) for i in starts), unit))
    return tuple(lanes[:MAX_LANES])


def _changes(values: NDArray[np.float64], every: int) -> NDArray[np.int64]:
    """Return the indices at which a new value begins; of a quantity, one in ``every`` scans."""
    if values.size == 0:
        return np.zeros(0, np.int64)
    if every > 1:
        coarse = np.arange(0, values.size, every)
        changed = np.flatnonzero(values[coarse[1:]] != values[coarse[:-1]]) + 1
    else:
        coarse = np.arange(values.size)
        changed = np.flatnonzero(values[1:] != values[:-1]) + 1
    starts: NDArray[np.int64] = coarse[np.concatenate([[0], changed])]
    return starts
