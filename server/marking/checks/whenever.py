"""``whenever: P, then: Q, within: T``: an answer in time."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import SHORTEST_MS, Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import FailedRun, quoted
from server.marking.files.form import Milliseconds
from server.marking.phrases import seconds
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, Op


class Response(Pattern):
    """Whenever ``trigger`` has held for ``held_ms``, then ``response`` within ``within_ms``.

    ``unless`` ends an open obligation. With ``until``, the response must then stay until that
    condition comes, which also ends an open obligation.
    """

    menu = "whenever … then … within: an answer in time"
    draft: ClassVar[dict[str, Any]] = {"whenever": "", "then": "", "within": "50 ms"}

    trigger: Expression = Field(alias="whenever")
    response: Expression = Field(alias="then")
    within_ms: Milliseconds = Field(alias="within")
    held_ms: Milliseconds = Field(0, alias="held for")
    until: Expression | None = None
    unless: Expression | None = None

    @property
    def allowed_ms(self) -> int:
        return self.within_ms

    @property
    def judged(self) -> Expression:
        return self.response

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        response, trigger = compile_condition(self.response), compile_condition(self.trigger)
        release = FALSE
        for expression in (self.until, self.unless):
            if expression is not None:
                release = asm.or_(release, compile_condition(expression))
        if self.held_ms:
            held = asm.timer_state(self.held_ms)
            asm.run_timer(Op.TON, trigger, held)
            trigger = held.q
        asked = asm.and_not(trigger, release)
        pending = asm.bit()
        if self.until is None:
            asm.emit(Op.SET, pending, asked)
            asm.emit(Op.RESET, pending, asm.or_(response, release))
            return Circuit(self._late(asm, pending), asked, response, asked)
        holding = asm.bit()
        asm.emit(Op.RESET, holding, release)
        broken = asm.and_(holding, asm.not_(response))
        asm.emit(Op.RESET, holding, broken)
        asm.emit(Op.SET, pending, asm.and_not(asm.and_not(asked, holding), broken))
        asm.emit(Op.RESET, pending, release)
        asm.emit(Op.SET, holding, asm.and_(pending, response))
        asm.emit(Op.RESET, pending, response)
        return Circuit(asm.or_(self._late(asm, pending), broken), asked, response, asked)

    def _late(self, asm: Assembler, pending: int) -> int:
        """Emit TRUE in the last scan that the bound allows, if nothing has answered by then."""
        clock = asm.timer_state(self.within_ms // asm.period_ms * asm.period_ms)
        asm.run_timer(Op.TON, pending, clock)
        return asm.rising(clock.q)

    def describe(self) -> str:
        held = f"has been true for {seconds(self.held_ms)}" if self.held_ms else "is true"
        until = f", until {quoted(self.until)}" if self.until else ""
        return (
            f"{quoted(self.response)} must be true within {seconds(self.within_ms)} "
            f"whenever {quoted(self.trigger)} {held}{until}"
        )

    def violation(self, run: FailedRun) -> str:
        allowed = f"{seconds(self.within_ms)} is allowed"
        if run.broken:
            return f"At {run.at} {run.turned(self.response, run.scan, to=False)} again."
        due = f"Due at {run.time(run.scan if run.asked is None else run.asked)}:"
        asked = run.scan if run.asked is None else run.asked
        if run.answered is None:
            waited = run.time(run.last - asked)
            return f"{due} {run.still_lacked(self.response)} {waited} later; {allowed}."
        came = run.turned(self.response, run.answered, to=True)
        return f"{due} {came} after {run.time(run.answered - asked)}; {allowed}."

    def never_came(self) -> str:
        held = f" for {seconds(self.held_ms)}" if self.held_ms else ""
        ends = [quoted(end) for end in (self.until, self.unless) if end is not None]
        alone = f" without {' or '.join(ends)}" if ends else ""
        return f"was {quoted(self.trigger)} true{held}{alone}"

    def courses(self) -> tuple[Course, Course]:
        within, held = max(self.within_ms, SHORTEST_MS), self.held_ms
        lead = max(200, held)
        start: Course = ((lead // 2, ()), (held + self.within_ms // 2, ("whenever",)))
        end: Course = ((within, ("whenever", "then")), (lead, ("until" if self.until else "then",)))
        return (*start, *end), ((lead // 2, ()), (held + 3 * within, ("whenever",)))
