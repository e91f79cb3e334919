"""``always: P, given: Q``: something that holds all the while."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import FailedRun, quoted
from server.scan.assembler import Assembler


class Always(Pattern):
    """``condition`` holds in every scan in which ``given`` holds."""

    menu = "always: something that holds all the while"
    draft: ClassVar[dict[str, Any]] = {"always": "", "given": ""}

    condition: Expression = Field(alias="always")
    given: Expression

    @property
    def judged(self) -> Expression:
        return self.condition

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        given, condition = compile_condition(self.given), compile_condition(self.condition)
        return Circuit(asm.and_not(given, condition), given, condition)

    def describe(self) -> str:
        return f"{quoted(self.condition)} must be true whenever {quoted(self.given)} is"

    def violation(self, run: FailedRun) -> str:
        return f"At {run.at} {run.lacked(self.condition)}."

    def never_came(self) -> str:
        return f"was {quoted(self.given)} true"

    def courses(self) -> tuple[Course, Course]:
        passes: Course = ((500, ()), (1000, ("given", "always")))
        fails: Course = ((500, ()), (300, ("given", "always")), (700, ("given",)))
        return passes, fails
