"""``only: P, after: Q``: nothing without its cause."""

from typing import Any, ClassVar

from pydantic import Field

from server.marking.check import Circuit, Compile, Course, Pattern
from server.marking.expression import Expression
from server.marking.failed_run import FailedRun, quoted
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
        return Circuit(asm.and_not(event, allowed), event, event)

    def describe(self) -> str:
        return f"{quoted(self.event)} may be true only after {self._first()}"

    def _first(self) -> str:
        if self.afresh is None:
            return quoted(self.cause)
        return f"{quoted(self.cause)} (again after {quoted(self.afresh)})"

    def violation(self, run: FailedRun) -> str:
        last = run.last_held(self.cause)
        return f"At {run.at} {run.held(self.event)}{last and f'; {last}'}."

    def never_came(self) -> str:
        return f"was {quoted(self.event)} true"

    def courses(self) -> tuple[Course, Course]:
        passes: Course = ((300, ()), (200, ("after",)), (500, ("only",)), (300, ()))
        if self.afresh is None:
            return passes, ((500, ()), (500, ("only",)))
        return passes, (*passes, (200, ("afresh",)), (200, ()), (400, ("only",)))
