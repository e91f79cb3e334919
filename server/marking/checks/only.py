"""``only: P, after: Q``: nothing without its cause."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.phrases import seconds
from server.marking.verdict import Evidence
from server.scan.assembler import Assembler
from server.scan.instructions import Op


class Precedence(Pattern):
    """``event`` only after ``cause`` has held, since the start or since ``afresh`` last held."""

    menu = "only … after: nothing without its cause"
    draft: ClassVar[dict[str, Any]] = {"only": "", "after": ""}

    event: Expression = Field(alias="only")
    cause: Expression = Field(alias="after")
    afresh: Expression | None = None

    @property
    def judged(self) -> Expression:
        return self.event

    def circuit(self, asm: Assembler, compile_condition: Compile) -> Circuit:
        event, cause = compile_condition(self.event), compile_condition(self.cause)
        allowed = asm.bit()
        if self.afresh is not None:
            asm.emit(Op.RESET, allowed, compile_condition(self.afresh))
        asm.emit(Op.SET, allowed, cause)
        return Circuit(asm.and_not(event, allowed), event)

    def describe(self) -> str:
        return f"{self.event.text} only after {self.cause.text}"

    def violation(self, evidence: Evidence) -> str:
        return f"Seen at {seconds(evidence.at_ms)}."

    def never_came(self) -> str:
        return self.event.text

    def courses(self) -> tuple[Course, Course]:
        passes: Course = ((300, ()), (200, ("after",)), (500, ("only",)), (300, ()))
        if self.afresh is None:
            return passes, ((500, ()), (500, ("only",)))
        return passes, (*passes, (200, ("afresh",)), (200, ()), (400, ("only",)))
