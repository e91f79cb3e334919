"""``never: P, given: Q``: something that must not happen."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import FailedRun, quoted
from server.scan.assembler import Assembler


class Never(Pattern):
    """``condition`` never holds. Exercised once ``given`` has held."""

    menu = "never: something that must not happen"
    draft: ClassVar[dict[str, Any]] = {"never": "", "given": ""}

    condition: Expression = Field(alias="never")
    given: Expression

    @property
    def judged(self) -> Expression:
        return self.condition

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        bad = compile_condition(self.condition)
        return Circuit(bad, asm.or_(bad, compile_condition(self.given)), judged=bad)

    def describe(self) -> str:
        return f"{quoted(self.condition)} must never be true"

    def violation(self, run: FailedRun) -> str:
        return f"At {run.at} {run.held(self.condition)}."

    def never_came(self) -> str:
        return f"was {quoted(self.given)} true"

    def courses(self) -> tuple[Course, Course]:
        passes: Course = ((500, ()), (1000, ("given",)))
        fails: Course = ((500, ("given",)), (200, ("never",)), (800, ()))
        return passes, fails
