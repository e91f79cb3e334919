"""``steady: P, changes: N, window: T``: no more than so many changes."""

from typing import Annotated, Any, ClassVar

from pydantic import Field

from server.marking.check import SHORTEST_MS, Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.files.form import Milliseconds
from server.marking.phrases import seconds
from server.marking.verdict import Evidence
from server.scan.assembler import Assembler
from server.scan.instructions import Op


class Steady(Pattern):
    """``condition`` changes at most ``changes`` times in any ``window_ms``."""

    menu = "steady: no more than so many changes"
    draft: ClassVar[dict[str, Any]] = {"steady": "", "changes": 4, "window": "2 s"}

    condition: Expression = Field(alias="steady")
    changes: Annotated[int, Field(ge=0, le=20)]
    window_ms: Milliseconds = Field(alias="window")

    @property
    def judged(self) -> Expression:
        return self.condition

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        # Each change starts a pulse as long as the window; one change too many finds none free.
        condition = compile_condition(self.condition)
        changed = asm.or_(asm.rising(condition), asm.falling(condition))
        waiting = changed
        # Q is read before this scan's step, so it stands for one scan longer than the preset.
        pulse_ms = max(0, asm.scans(self.window_ms) - 1) * asm.period_ms
        for _ in range(self.changes):
            pulse = asm.timer_state(pulse_ms)
            taken = asm.and_not(waiting, pulse.q)
            asm.run_timer(Op.TP, taken, pulse)
            waiting = asm.and_not(waiting, taken)
        return Circuit(waiting, changed)

    def describe(self) -> str:
        return (
            f"{self.condition.text} changes at most {self.changes} times "
            f"in {seconds(self.window_ms)}"
        )

    def violation(self, evidence: Evidence) -> str:
        return f"Seen at {seconds(evidence.at_ms)}."

    def never_came(self) -> str:
        return f"a change of {self.condition.text}"

    def courses(self) -> tuple[Course, Course]:
        each = max(SHORTEST_MS, self.window_ms // (self.changes + 3))
        fails = tuple((each, ("steady",) if n % 2 else ()) for n in range(self.changes + 2))
        calm: Course = ((self.window_ms, ()),)
        return (*calm, (self.window_ms, ("steady",))) if self.changes else calm, fails
