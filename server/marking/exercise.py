"""An exercise: statement, points, requirements, plant, scenarios. One checked, frozen object."""

from dataclasses import dataclass
from enum import StrEnum

from server.ladder.points import PointDeclaration
from server.ladder.program import Program
from server.marking.check import Check
from server.marking.expression import Expression
from server.marking.program_view import ProgramView
from server.marking.scenario import Scenario
from server.plant.plant import Plant

TOLERANCE_MS = 150
"""How long two right programs may differ in an output, in milliseconds, unless the file says."""


class RequirementKind(StrEnum):
    """Where a requirement comes from and what it looks at."""

    STATED = "stated"
    IMPLIED = "implied"
    STRUCTURE = "structure"
    DOCUMENTATION = "documentation"


class Release(StrEnum):
    """What a student sees of a requirement that is not met."""

    VERDICT = "verdict"
    SENTENCE = "sentence"
    CHART = "chart"


@dataclass(frozen=True, slots=True)
class Requirement:
    """One demand that is marked by itself."""

    id: str
    text: str
    kind: RequirementKind
    checks: tuple[Check, ...]
    weight: int = 1
    outcomes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FeedbackPolicy:
    """What is released, and from which attempt on."""

    release: Release = Release.SENTENCE
    chart_from_attempt: int | None = None


@dataclass(frozen=True, slots=True)
class PartialCredit:
    """The share, 0 to 1, of the points missed that a program gets for being nearly right.

    ``one_edit`` and ``two_edits`` say how near (``marking.diagnosis``).
    """

    one_edit: float = 0.0
    two_edits: float = 0.0


@dataclass(frozen=True, slots=True)
class Freedom:
    """What the statement leaves open: ``outputs`` may be anything while ``when`` holds.

    ``sentence`` says it to students, under *Left to you*.
    """

    outputs: tuple[str, ...]
    when: Expression
    sentence: str


@dataclass(frozen=True, slots=True)
class Exercise:
    """Everything of one folder below ``exercises``, checked.

    ``observer`` is a program in rung text that runs beside the monitors and makes signals for the
    checks: counters and timers of the exercise, never the student's. ``internal_bits`` are bits
    that the statement names. ``suite_hash`` identifies checks, plant and scenarios together.
    ``numbers`` are the drawn values of its parameters, by name. Lists of exercises go by
    ``teaching_order``, those without one last. ``references`` are programs that the author holds
    right; two right programs may differ in an output for ``tolerance_ms``.
    """

    slug: str
    title: str
    version: int
    summary: str
    statement: str
    period_ms: int
    points: tuple[PointDeclaration, ...]
    internal_bits: tuple[PointDeclaration, ...]
    plant: Plant
    observer: Program
    requirements: tuple[Requirement, ...]
    scenarios: tuple[Scenario, ...]
    feedback: FeedbackPolicy
    outcomes: dict[str, str]
    suite_hash: str
    partial_credit: PartialCredit = PartialCredit()
    numbers: tuple[tuple[str, str], ...] = ()
    teaching_order: int | None = None
    free: tuple[Freedom, ...] = ()
    tolerance_ms: int = TOLERANCE_MS
    references: tuple[Program, ...] = ()

    def scenarios_judging(self, number: int) -> tuple[Scenario, ...]:
        """Return the scenarios in which requirement ``number`` is judged."""
        name = self.requirements[number].id
        return tuple(s for s in self.scenarios if not s.judges or name in s.judges)

    def view(self, program: Program) -> ProgramView:
        """Return a student's program beside this exercise's tables."""
        stated = tuple(r.id for r in self.requirements if r.kind is RequirementKind.STATED)
        return ProgramView(program, self.points, self.internal_bits, stated)
