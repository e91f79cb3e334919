"""``lasts: P, at least: T, at most: U``: at least or at most so long."""

from collections.abc import Collection, Iterator
from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import SHORTEST_MS, Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import HAPPENED, FailedRun, quoted
from server.marking.files.form import Milliseconds
from server.marking.phrases import seconds
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, Op


class Lasts(Pattern):
    """Each time ``condition`` begins, it lasts at least and at most so long."""

    menu = "lasts: at least or at most so long"
    draft: ClassVar[dict[str, Any]] = {"lasts": "", "at least": "1 s"}

    condition: Expression = Field(alias="lasts")
    at_least_ms: Milliseconds | None = Field(None, alias="at least")
    at_most_ms: Milliseconds | None = Field(None, alias="at most")
    unless: Expression | None = None

    def faults(self, symbols: Collection[str]) -> Iterator[tuple[str, str]]:
        match self.at_least_ms, self.at_most_ms:
            case None, None:
                yield "", "'at least' or 'at most' is missing here. Add one or both."
            case int(least), int(most) if least > most:
                yield "at least", "It is longer than 'at most'."

    @property
    def judged(self) -> Expression:
        return self.condition

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        condition = compile_condition(self.condition)
        unless = FALSE if self.unless is None else compile_condition(self.unless)
        began, ended = asm.rising(condition), asm.falling(condition)
        bad = exercised = FALSE
        if self.at_least_ms is not None:
            # An interval of n scans ends when ET of a TON would stand at n.
            clock = asm.timer_state(max(0, asm.scans(self.at_least_ms) - 1) * asm.period_ms)
            short, excused = asm.bit(True), asm.bit()
            asm.emit(Op.RESET, excused, began)
            asm.emit(Op.SET, excused, unless)
            too_short = asm.and_not(asm.and_(ended, short), excused)
            bad = asm.or_(bad, too_short)
            asm.run_timer(Op.TON, condition, clock)
            asm.emit(Op.NOT, short, clock.q)
            exercised = asm.or_(exercised, ended)
        if self.at_most_ms is not None:
            clock = asm.timer_state(self.at_most_ms // asm.period_ms * asm.period_ms)
            asm.run_timer(Op.TON, asm.and_not(condition, unless), clock)
            bad = asm.or_(bad, asm.rising(clock.q))
            exercised = asm.or_(exercised, began)
        return Circuit(bad, exercised, condition)

    def describe(self) -> str:
        bounds = [
            f"at {word} {seconds(ms)}"
            for word, ms in (("least", self.at_least_ms), ("most", self.at_most_ms))
            if ms is not None
        ]
        return f"{quoted(self.condition)} must last {' and '.join(bounds)}"

    def violation(self, run: FailedRun) -> str:
        held, lasted = run.held(self.condition), run.time(run.judged_scans())
        held = "It lasted" if held == HAPPENED else f"{held} for"
        if run.judged[run.scan]:
            allowed = seconds(self.at_most_ms or 0)
            return f"{held} {lasted} by {run.at}; at most {allowed} is allowed."
        required = seconds(self.at_least_ms or 0)
        return f"{held} {lasted} until {run.at}; at least {required} is required."

    def never_came(self) -> str:
        done = "begin and end" if self.at_most_ms is None else "begin"
        return f"did {quoted(self.condition)} {done}"

    def courses(self) -> tuple[Course, Course] | None:
        shortest, longest = self.at_least_ms, self.at_most_ms
        if shortest is None and longest is None:
            return None
        good = shortest or 0 if longest is None else (longest + (shortest or 0)) // 2
        bad = max(SHORTEST_MS, shortest // 2) if shortest else 2 * (longest or 0) + 100
        edge = max(200, good) // 2

        def lasting(ms: int) -> Course:
            return ((edge, ()), (ms, ("lasts",)), (edge, ()))

        return lasting(good), lasting(bad)
