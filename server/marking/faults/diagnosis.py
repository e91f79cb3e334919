"""What the instructor is told of a program that falls short: how far it is from right, and where.

Students are not shown any of this before the due date: it says how to mend the program.
"""

from dataclasses import dataclass

from server.ladder.program import Program
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.blame import Suspicion, blame
from server.marking.faults.repair import MOST_TRIALS, Repair, nearest_right
from server.marking.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The nearest right program, if one was found, and a suspicion for each requirement not met.

    ``credit`` are the points that the exercise's policy offers for being nearly right.
    """

    repair: Repair | None
    suspicions: tuple[Suspicion, ...]
    credit: float


def diagnose(
    exercise: Exercise, program: Program, verdict: Verdict, *, most: int = MOST_TRIALS
) -> Diagnosis:
    """Diagnose a program that is free of errors; ``verdict`` is its own, with evidence.

    ``most`` bounds the programs that are tried, and so the time.
    """
    search = nearest_right(exercise, program, most=most)
    return Diagnosis(
        search.repair,
        blame(exercise, program, verdict, search.trials),
        _credit(exercise, verdict, search.repair),
    )


def _credit(exercise: Exercise, verdict: Verdict, repair: Repair | None) -> float:
    """Return a share of the points missed; documentation, which no edit mends, gets none."""
    if repair is None:
        return 0.0
    policy = exercise.partial_credit
    share = policy.one_edit if len(repair.edits) == 1 else policy.two_edits
    missed = sum(
        told.max_score - told.score
        for requirement, told in zip(exercise.requirements, verdict.requirements, strict=True)
        if requirement.kind is not RequirementKind.DOCUMENTATION
    )
    return share * missed
