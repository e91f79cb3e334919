"""What passes a check and what fails it, as signals over time.

Each pattern has one course of events that meets it and one that does not, in the check's own
times. The check's own monitor is run over both, so a picture never says what marking would not.
"""

from dataclasses import dataclass

import numpy as np

from server.ladder.text_form import parse_network
from server.marking.files.exercise_schema import (
    AlwaysPart,
    CheckPart,
    LastsPart,
    NeverPart,
    OnlyPart,
    SteadyPart,
    WheneverPart,
)
from server.marking.monitors import emit_monitor
from server.marking.patterns import (
    Always,
    Expression,
    Lasts,
    Never,
    Pattern,
    Precedence,
    Response,
    Steady,
)
from server.marking.telling.lane_drawing import draw_lanes
from server.marking.verdict import Lane
from server.scan.assembler import Assembler
from server.scan.instructions import TRUE
from server.scan.kernel import execute

PERIOD_MS = 10
MOST_SCANS = 3000

Course = tuple[tuple[int, str], ...]
"""Stretches of time in milliseconds, each with the letters of what is on in it."""


@dataclass(frozen=True, slots=True)
class Example:
    """One course of events; ``bad_ms`` is when the monitor finds a violation, None if it never
    does."""

    drawing: str
    bad_ms: int | None


def examples(check: CheckPart) -> tuple[Example, Example] | None:
    """A course that passes and one that fails; None for a rule, or times too long to draw."""
    found = _courses(check)
    if found is None:
        return None
    pattern, names, passing, failing = found
    longest = max(sum(ms for ms, _ in course) for course in (passing, failing))
    period = PERIOD_MS
    while longest // period > MOST_SCANS:
        period *= 10
    right = _example(pattern, names, passing, period, "Passes")
    wrong = _example(pattern, names, failing, period, "Fails")
    return right, wrong


def _letter(text: str) -> Expression:
    return Expression(text, parse_network(""))


def _courses(check: CheckPart) -> tuple[Pattern, dict[str, str], Course, Course] | None:
    """The pattern over letters, what each letter stands for, and the two courses."""
    p, q, r = map(_letter, "pqr")
    match check:
        case NeverPart():
            names = {"q": check.given, "p": check.never}
            return Never(p, q), names, ((500, ""), (1000, "q")), ((500, "q"), (200, "p"), (800, ""))
        case AlwaysPart():
            names = {"q": check.given, "p": check.always}
            return (
                Always(p, q),
                names,
                ((500, ""), (1000, "qp")),
                ((500, ""), (300, "qp"), (700, "q")),
            )
        case WheneverPart():
            least = max(check.within, PERIOD_MS)
            lead, held = max(200, check.held_for), check.held_for
            names = {"p": check.whenever, "q": check.then}
            until = None
            if check.until is not None:
                names["r"], until = check.until, r
            start = ((lead // 2, ""), (held + check.within // 2, "p"))
            rest = ((least, "pq"), (lead, "r" if until else "q"))
            pattern = Response(p, q, check.within, held, until, None)
            return pattern, names, (*start, *rest), ((lead // 2, ""), (held + 3 * least, "p"))
        case OnlyPart():
            names = {"q": check.after, "p": check.only}
            afresh = None
            if check.afresh is not None:
                names["r"], afresh = check.afresh, r
            good: Course = ((300, ""), (200, "q"), (500, "p"), (300, ""))
            bad: Course = ((500, ""), (500, "p"))
            if afresh is not None:
                bad = (*good, (200, "r"), (200, ""), (400, "p"))
            return Precedence(p, q, afresh), names, good, bad
        case LastsPart():
            return _lasting(check, p)
        case SteadyPart():
            each = max(PERIOD_MS, check.window // (check.changes + 3))
            turns = range(check.changes + 2)
            busy = tuple((each, "p" if n % 2 else "") for n in turns)
            calm = ((check.window, ""), *(((check.window, "p"),) if check.changes else ()))
            return Steady(p, check.changes, check.window), {"p": check.steady}, calm, busy
        case _:
            return None


def _lasting(
    check: LastsPart, p: Expression
) -> tuple[Pattern, dict[str, str], Course, Course] | None:
    shortest, longest = check.at_least, check.at_most
    if shortest is None and longest is None:
        return None
    good = shortest or 0 if longest is None else (longest + (shortest or 0)) // 2
    bad = max(PERIOD_MS, shortest // 2) if shortest else 2 * (longest or 0) + 100
    edge = max(200, good) // 2
    pattern = Lasts(p, shortest, longest, None)
    courses = [((edge, ""), (ms, "p"), (edge, "")) for ms in (good, bad)]
    return pattern, {"p": check.lasts}, courses[0], courses[1]


def _example(
    pattern: Pattern, names: dict[str, str], course: Course, period: int, title: str
) -> Example:
    asm = Assembler(period)
    planes = {letter: asm.control() for letter in "pqr"}
    with asm.section("monitors"):
        monitor = emit_monitor(asm, pattern, lambda e: planes[e.text], TRUE)
    machine = asm.machine()
    bits = machine.initial.copy()
    letters = [on for ms, on in course for _ in range(max(1, ms // period) if ms else 0)]
    bad = None
    for scan, on in enumerate(letters):
        for letter, plane in planes.items():
            bits[plane] = np.uint64(letter in on)
        execute(machine.code, 0, len(machine.code), bits, machine.initial, machine.table)
        if bad is None and int(bits[monitor.violated]) & 1:
            bad = scan * period
    lanes = [
        _lane(name, [letter in on for on in letters], period) for letter, name in names.items()
    ]
    drawing = draw_lanes(lanes, len(letters) * period, title, alarm_ms=bad)
    return Example(drawing, bad)


def _lane(name: str, values: list[bool], period: int) -> Lane:
    starts = [i for i, v in enumerate(values) if i == 0 or v != values[i - 1]]
    return Lane(name, tuple(i * period for i in starts), tuple(float(values[i]) for i in starts))
