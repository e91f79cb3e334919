"""What passes a check and what fails it, as signals over time.

Each kind of check has one course of events that passes and one that fails, in the check's own
times. The check's own monitor runs over both, so a picture never says what marking would not.
"""

from dataclasses import dataclass

import numpy as np

from server.ladder.program import Series
from server.marking.check import SHORTEST_MS, Check, Course, Pattern
from server.marking.expression import Expression
from server.marking.presentation.lane_drawing import draw_lanes
from server.marking.verdict import Lane
from server.scan.assembler import Assembler
from server.scan.instructions import TRUE
from server.scan.kernel import execute

MOST_SCANS = 3000


@dataclass(frozen=True, slots=True)
class DrawnCourse:
    """One course of events as SVG; ``bad_ms`` is when the monitor finds a violation, if it does."""

    drawing: str
    bad_ms: int | None


def draw_check(check: Check) -> tuple[DrawnCourse, DrawnCourse] | None:
    """Draw a course that passes and one that fails; None for a rule, or where there is none."""
    courses = check.courses() if isinstance(check, Pattern) else None
    if courses is None:
        return None
    assert isinstance(check, Pattern)
    passes, fails = courses
    longest = max(sum(ms for ms, _ in course) for course in courses)
    period = SHORTEST_MS
    while longest // period > MOST_SCANS:
        period *= 10
    shown = tuple(dict.fromkeys(key for course in courses for _, on in course for key in on))
    return (
        _draw(check, shown, passes, period, "Passes"),
        _draw(check, shown, fails, period, "Fails"),
    )


def _draw(
    check: Pattern, shown: tuple[str, ...], course: Course, period: int, title: str
) -> DrawnCourse:
    scans = [on for ms, on in course for _ in range(max(1, ms // period) if ms else 0)]
    bad = _first_violation(check, scans, period)
    texts = check.conditions()
    lanes = [_lane(texts[key].text, [key in on for on in scans], period) for key in shown]
    bad_ms = None if bad is None else bad * period
    drawing = draw_lanes(lanes, len(scans) * period, title, alarm_ms=bad_ms)
    return DrawnCourse(drawing, bad_ms)


def _first_violation(check: Pattern, scans: list[tuple[str, ...]], period: int) -> int | None:
    """Run the check's monitor over the conditions that are on in each scan."""
    asm = Assembler(period)
    planes = {key: asm.control() for key in check.conditions()}
    with asm.section("monitors"):
        monitor = _by_key(check).monitor(asm, lambda e: planes[e.text], TRUE)
    machine = asm.machine()
    bits = machine.initial.copy()
    for scan, on in enumerate(scans):
        for key, plane in planes.items():
            bits[plane] = np.uint64(key in on)
        execute(machine.code, 0, len(machine.code), bits, machine.initial, machine.table)
        if int(bits[monitor.violated]) & 1:
            return scan
    return None


def _by_key(check: Pattern) -> Pattern:
    """Return the check with each condition named by its key: two may have the same text."""
    keys = {id(condition): key for key, condition in check.conditions().items()}
    named = {
        name: Expression(keys[id(value)], Series(()))
        for name, value in check
        if isinstance(value, Expression)
    }
    return check.model_copy(update=named)


def _lane(name: str, values: list[bool], period: int) -> Lane:
    starts = [i for i, v in enumerate(values) if i == 0 or v != values[i - 1]]
    return Lane(name, tuple(i * period for i in starts), tuple(float(values[i]) for i in starts))
