"""``always: P, given: Q``: something that holds all the while."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.phrases import seconds
from server.marking.verdict import Evidence
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
        given = compile_condition(self.given)
        return Circuit(asm.and_not(given, compile_condition(self.condition)), given)

    def describe(self) -> str:
        return f"{self.condition.text} whenever {self.given.text}"

    def violation(self, evidence: Evidence) -> str:
        return f"Seen at {seconds(evidence.at_ms)}."

    def never_came(self) -> str:
        return self.given.text

    def courses(self) -> tuple[Course, Course]:
        passes: Course = ((500, ()), (1000, ("given", "always")))
        fails: Course = ((500, ()), (300, ("given", "always")), (700, ("given",)))
        return passes, fails
