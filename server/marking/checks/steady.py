"""``steady: P, changes: N, window: T``: no more than so many changes."""

from typing import Annotated, Any, ClassVar

from pydantic import Field

from server.marking.check import SHORTEST_MS, Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import FailedRun, quoted
from server.marking.files.form import Milliseconds
from server.marking.phrases import counted, seconds
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
        return Circuit(waiting, changed, condition)

    def describe(self) -> str:
        return f"{quoted(self.condition)} may make at most {self._allowed()}"

    def _allowed(self) -> str:
        return f"{counted(self.changes, 'change')} in {seconds(self.window_ms)}"

    def violation(self, run: FailedRun) -> str:
        made = counted(run.changes(-(-self.window_ms // run.period_ms)), "change")
        window = f"in the {seconds(self.window_ms)} up to {run.at}"
        return f"{quoted(self.condition)} made {made} {window}; at most {self.changes} are allowed."

    def never_came(self) -> str:
        return f"did {quoted(self.condition)} change"

    def courses(self) -> tuple[Course, Course]:
        each = max(SHORTEST_MS, self.window_ms // (self.changes + 3))
        fails = tuple((each, ("steady",) if n % 2 else ()) for n in range(self.changes + 2))
        calm: Course = ((self.window_ms, ()),)
        return (*calm, (self.window_ms, ("steady",))) if self.changes else calm, fails
