"""From a pattern to instructions: each check becomes a small circuit beside the program.

A monitor works on planes after the plant step. It gives two planes: ``bad``, TRUE in a scan that
violates the property, and ``exercised``, TRUE once the property has been brought to bear. Bounds
are whole scans, inclusive: 'within d' allows the response in the scan of the trigger and in the
``d / period`` scans after it (pointwise semantics, sample i at time i * period).
"""

from collections.abc import Callable
from dataclasses import dataclass

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
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, Op


@dataclass(frozen=True, slots=True)
class Monitor:
    """Planes of one check: violated in this scan, violated so far, exercised so far.

    For a response also ``asked``, TRUE in a scan that asks for it, and ``answer``; else FALSE.
    """

    bad: int
    violated: int
    exercised: int
    asked: int = FALSE
    answer: int = FALSE


def emit_monitor(
    asm: Assembler, pattern: Pattern, condition: Callable[[Expression], int], running: int
) -> Monitor:
    """Emit the circuit of one pattern.

    ``condition`` compiles an expression to a plane; ``running`` is TRUE in lanes that count.
    """
    answer = condition(pattern.response) if isinstance(pattern, Response) else FALSE
    bad, exercised_now = _circuit(asm, pattern, condition, answer)
    counted = asm.and_(bad, running)
    violated, exercised = asm.bit(), asm.bit()
    asm.emit(Op.SET, violated, counted)
    asm.emit(Op.SET, exercised, asm.and_(exercised_now, running))
    asked = exercised_now if isinstance(pattern, Response) else FALSE
    return Monitor(counted, violated, exercised, asked, answer)


def _circuit(
    asm: Assembler, pattern: Pattern, condition: Callable[[Expression], int], answer: int
) -> tuple[int, int]:
    """The planes 'violated in this scan' and 'exercised in this scan'."""

    def optional(expression: Expression | None) -> int:
        return FALSE if expression is None else condition(expression)

    match pattern:
        case Never():
            bad = condition(pattern.condition)
            return bad, asm.or_(bad, condition(pattern.given))
        case Always():
            given = condition(pattern.given)
            return asm.and_not(given, condition(pattern.condition)), given
        case Response():
            return _response(asm, pattern, condition, answer)
        case Precedence():
            event, cause = condition(pattern.event), condition(pattern.cause)
            allowed = asm.bit()
            if pattern.afresh is not None:
                asm.emit(Op.RESET, allowed, condition(pattern.afresh))
            asm.emit(Op.SET, allowed, cause)
            return asm.and_not(event, allowed), event
        case Lasts():
            return _lasts(asm, pattern, condition(pattern.condition), optional(pattern.unless))
        case Steady():
            return _steady(asm, pattern, condition(pattern.condition))


def _response(
    asm: Assembler, pattern: Response, condition: Callable[[Expression], int], response: int
) -> tuple[int, int]:
    trigger = condition(pattern.trigger)
    release = FALSE
    for expression in (pattern.until, pattern.unless):
        if expression is not None:
            release = asm.or_(release, condition(expression))
    if pattern.held_ms:
        held = asm.timer_state(pattern.held_ms)
        asm.run_timer(Op.TON, trigger, held)
        trigger = held.q
    asked = asm.and_not(trigger, release)
    pending = asm.bit()
    if pattern.until is None:
        asm.emit(Op.SET, pending, asked)
        asm.emit(Op.RESET, pending, asm.or_(response, release))
        return _late(asm, pending, pattern.within_ms), asked
    holding = asm.bit()
    asm.emit(Op.RESET, holding, release)
    broken = asm.and_(holding, asm.not_(response))
    asm.emit(Op.RESET, holding, broken)
    asm.emit(Op.SET, pending, asm.and_not(asm.and_not(asked, holding), broken))
    asm.emit(Op.RESET, pending, release)
    asm.emit(Op.SET, holding, asm.and_(pending, response))
    asm.emit(Op.RESET, pending, response)
    return asm.or_(_late(asm, pending, pattern.within_ms), broken), asked


def _late(asm: Assembler, pending: int, within_ms: int) -> int:
    """TRUE in the last scan that the bound allows, if the obligation is still open then."""
    clock = asm.timer_state(within_ms // asm.period_ms * asm.period_ms)
    asm.run_timer(Op.TON, pending, clock)
    return asm.rising(clock.q)


def _lasts(asm: Assembler, pattern: Lasts, condition: int, unless: int) -> tuple[int, int]:
    began = asm.rising(condition)
    ended = asm.falling(condition)
    bad = FALSE
    exercised = FALSE
    if pattern.at_least_ms is not None:
        # An interval of n scans ends when ET of a TON would stand at n.
        clock = asm.timer_state(max(0, asm.scans(pattern.at_least_ms) - 1) * asm.period_ms)
        short = asm.bit(True)
        excused = asm.bit()
        asm.emit(Op.RESET, excused, began)
        asm.emit(Op.SET, excused, unless)
        too_short = asm.and_not(asm.and_(ended, short), excused)
        bad = asm.or_(bad, too_short)
        asm.run_timer(Op.TON, condition, clock)
        asm.emit(Op.NOT, short, clock.q)
        exercised = asm.or_(exercised, ended)
    if pattern.at_most_ms is not None:
        scans = pattern.at_most_ms // asm.period_ms
        clock = asm.timer_state(scans * asm.period_ms)
        asm.run_timer(Op.TON, asm.and_not(condition, unless), clock)
        bad = asm.or_(bad, asm.rising(clock.q))
        exercised = asm.or_(exercised, began)
    return bad, exercised


def _steady(asm: Assembler, pattern: Steady, condition: int) -> tuple[int, int]:
    """Each change starts a pulse as long as the window; one change too many finds none free."""
    changed = asm.or_(asm.rising(condition), asm.falling(condition))
    waiting = changed
    # Q is read before this scan's step, so it stands for one scan longer than the preset.
    pulse_ms = max(0, asm.scans(pattern.window_ms) - 1) * asm.period_ms
    for _ in range(pattern.changes):
        pulse = asm.timer_state(pulse_ms)
        taken = asm.and_not(waiting, pulse.q)
        asm.run_timer(Op.TP, taken, pulse)
        waiting = asm.and_not(waiting, taken)
    return waiting, changed
