"""How good an acceptance suite is: which single-fault variants of right programs it catches.

A variant is *caught* when the written scenarios find some requirement not met or not exercised.
The others are judged by what the requirements speak of (as in property-based mutation testing: E.
Bartocci, L. Mariani, D. Nickovic, D. Yadav, 'Property-Based Mutation Testing', ICST 2023: a mutant
counts only if it can change whether a property holds). A variant is *equivalent* when it is shown

- to give the same outputs as its original in every scan, whatever happens at its inputs, or
- to meet every requirement itself: each is proved, so it is one more right program.

Every other variant has *survived*: a requirement is violated by it in a run that the suite does
not have, or nobody has shown that there is no such run. So no doubt counts for the suite.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from server.ladder.points import Direction
from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.faults.catching import Suite, complaints
from server.marking.faults.equivalence import compare
from server.marking.faults.shortening import shortened
from server.marking.faults.variants import Variant, variants
from server.marking.files.reference_programs import ReferenceProgram
from server.marking.marking import mark, seed_of
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import replay_suspicion, suspected_scenario
from server.marking.proofs.proof import MOST_TRANSITIONS, Outcome, Proof, provable, prove
from server.marking.proofs.stress import stress_run
from server.marking.scenario import Scenario
from server.marking.verdict import Status


class Fate(StrEnum):
    """What became of one variant."""

    CAUGHT = "caught"
    SAME = "gives the same outputs"
    RIGHT = "meets every requirement"
    SURVIVED = "survived"


@dataclass(frozen=True, slots=True)
class VariantResult:
    """A variant and its fate.

    A survivor has the requirement that it should have failed with a ``scenario`` that ``catches``
    it, or the requirement that could not be settled with a ``reason``, and then as ``scenario`` the
    order of events, if any, that the exhaustive search suspects.
    """

    original: str
    variant: Variant
    fate: Fate
    requirement: str = ""
    scenario: Scenario | None = None
    catches: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Adequacy:
    """The figures of one exercise.

    ``right_failed`` names files that proof, random runs or the suite find wrong, ``wrong_passed``
    those in which the suite finds nothing.
    """

    exercise: str
    right: int
    right_failed: tuple[str, ...]
    wrong: int
    wrong_passed: tuple[str, ...]
    findings: tuple[VariantResult, ...]

    def count(self, *fates: Fate) -> int:
        """Return how many variants had one of these fates."""
        return sum(finding.fate in fates for finding in self.findings)

    @property
    def survivors(self) -> tuple[VariantResult, ...]:
        """The variants that the suite should catch, or may have to."""
        return tuple(f for f in self.findings if f.fate is Fate.SURVIVED)


def adequacy(exercise: Exercise, programs: Iterable[ReferenceProgram]) -> Adequacy:
    """Try the suite on the reference programs and on every variant of the right ones.

    Variants that several right programs have in common are tried once.
    """
    known = list(programs)
    right, wrong = [p for p in known if p.right], [p for p in known if not p.right]
    suite = Suite(exercise)
    passed = [p for p in wrong if not suite.complaints(p.program, first_only=True)]
    tried: set[Program] = {p.program for p in right}
    findings: list[VariantResult] = []
    for original in right:
        for variant in variants(original.program):
            if variant.program not in tried:
                tried.add(variant.program)
                found = suite.complaints(variant.program, first_only=True)
                findings.append(judge(exercise, original, variant, found))
    return Adequacy(
        exercise=exercise.slug,
        right=len(right),
        right_failed=tuple(p.file.name for p in right if not mark(exercise, p.program).all_met),
        wrong=len(wrong),
        wrong_passed=tuple(p.file.name for p in passed),
        findings=tuple(findings),
    )


def judge(
    exercise: Exercise,
    original: ReferenceProgram,
    variant: Variant,
    found: Mapping[int, Status],
    *,
    work: int = MOST_TRANSITIONS,
) -> VariantResult:
    """Say what becomes of one variant of a right program.

    ``work`` bounds the transitions of each search; where it is not enough the variant survives.
    ``found`` is what the suite says of it.
    """
    name = original.file.name
    if found:
        return VariantResult(name, variant, Fate.CAUGHT, exercise.requirements[min(found)].id)
    observed = [
        point.address
        for point in (*exercise.points, *exercise.internal_bits)
        if point.direction is not Direction.INPUT
    ]
    programs = (original.program, variant.program)
    alike = compare(*programs, observed, period_ms=exercise.period_ms, work=work)
    if alike.same:
        return VariantResult(name, variant, Fate.SAME)
    return _settled(exercise, original, variant, work)


def _settled(
    exercise: Exercise, original: ReferenceProgram, variant: Variant, work: int
) -> VariantResult:
    """Prove each requirement of a variant that differs, or find where it fails."""
    wanted = [n for n in range(len(exercise.requirements)) if provable(exercise, n)]
    machines = AbstractMachines(exercise, variant.program)
    proofs = {number: prove(machines, number, work=work) for number in wanted}
    unproved = {n: proof for n, proof in proofs.items() if proof.outcome is not Outcome.PROVED}
    if not unproved:
        return VariantResult(original.file.name, variant, Fate.RIGHT)
    scenarios = _catching(exercise, variant.program, unproved)
    number = min(scenarios, default=min(unproved))
    scenario, reason = scenarios.get(number), unproved[number].reason
    catches, suspicion = scenario is not None, unproved[number].suspicion
    if scenario is not None:
        named = replace(scenario, name=f"Against {variant.sentence}")
        scenario = shortened(exercise, variant.program, number, named)
        alone = replace(exercise, scenarios=(scenario,))
        both = complaints(alone, original.program).get(number) is Status.NOT_MET
        reason = "Its original fails there, too." if both else ""
    elif suspicion is not None:
        scenario = suspected_scenario(exercise, suspicion)
    return VariantResult(
        original.file.name,
        variant,
        Fate.SURVIVED,
        exercise.requirements[number].id,
        scenario,
        catches,
        reason,
    )


def _catching(
    exercise: Exercise, program: Program, unproved: dict[int, Proof]
) -> dict[int, Scenario]:
    """Return scenarios on the exercise's own plant in which requirements fail, by their number."""
    seed = seed_of(exercise, program)
    runs = stress_run(exercise, program, frozenset(unproved), seed)
    found = {number: violation.scenario for number, violation in runs.items()}
    for number, proof in unproved.items():
        if number not in found and proof.suspicion is not None:
            replayed = replay_suspicion(exercise, program, number, proof.suspicion)
            if replayed is not None and replayed.nominal:
                found[number] = replayed.scenario
    return found
