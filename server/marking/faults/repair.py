"""How far a program is from right: the fewest edits after which it meets every requirement.

Single edits are tried first: the faults of ``marking.variants`` undone, then parts that may be
missing (``marking.mends``). Where none is enough, the most helpful ones are joined with a second
one. The search is bounded by a count of trials, never by the clock, so that the answer is the same
on every machine.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

from server.ladder.program import Program
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.catching import Suite
from server.marking.faults.repairs import single_edits
from server.marking.faults.variants import Variant
from server.marking.marking import Effort, mark

MOST_TRIALS = 3000
"""Programs that one search may try; a few milliseconds each."""

STEPPING_STONES = 8
"""Single edits that a second one is joined to."""


@dataclass(frozen=True, slots=True)
class TriedEdit:
    """A program after one edit, and the requirements, by number, that it does not meet."""

    edit: Variant
    left: frozenset[int]


@dataclass(frozen=True, slots=True)
class Repair:
    """Edits that make a program right, the program then, and a sentence for the instructor."""

    edits: tuple[Variant, ...]
    program: Program

    @property
    def sentence(self) -> str:
        """How far from right, and which edits."""
        count = "one edit" if len(self.edits) == 1 else "two edits"
        return f"{count} from right: {'; '.join(edit.sentence for edit in self.edits)}"


@dataclass(frozen=True, slots=True)
class Search:
    """What a search came to: a repair or None, and the single edits that were tried."""

    repair: Repair | None
    trials: tuple[TriedEdit, ...]


def nearest_right(exercise: Exercise, program: Program, *, most: int = MOST_TRIALS) -> Search:
    """Look for one or two edits within ``most`` trials.

    ``program`` must be free of errors. No edit writes a comment or a name, so requirements about
    documentation are left out; a program that meets all others needs no repair.
    """
    judged = replace(
        exercise,
        requirements=tuple(
            r for r in exercise.requirements if r.kind is not RequirementKind.DOCUMENTATION
        ),
    )
    suite = Suite(judged)
    before = len(suite.complaints(program))
    if not before:
        return Search(None, ())
    numbers = [exercise.requirements.index(r) for r in judged.requirements]
    trials: list[TriedEdit] = []
    for edit in islice(single_edits(exercise, program), most):
        left = suite.complaints(edit.program)
        trials.append(TriedEdit(edit, frozenset(numbers[n] for n in left)))
        if not left and _right(judged, edit.program):
            return Search(Repair((edit,), edit.program), tuple(trials))
    helpful = [trial for trial in trials if 0 < len(trial.left) < before]
    helpful.sort(key=lambda trial: len(trial.left))
    for first, second in islice(_pairs(exercise, helpful), max(0, most - len(trials))):
        if not suite.complaints(second.program, first_only=True) and _right(judged, second.program):
            return Search(Repair((first, second), second.program), tuple(trials))
    return Search(None, tuple(trials))


def _pairs(exercise: Exercise, helpful: list[TriedEdit]) -> Iterator[tuple[Variant, Variant]]:
    """Yield two edits: first those that each help alone, then any second one."""
    known = {trial.edit.sentence for trial in helpful}
    seconds = {
        trial.edit: list(single_edits(exercise, trial.edit.program))
        for trial in helpful[:STEPPING_STONES]
    }
    for joined in (True, False):
        for first, edits in seconds.items():
            yield from ((first, second) for second in edits if (second.sentence in known) is joined)


def _right(exercise: Exercise, program: Program) -> bool:
    """Return whether proofs and random runs have no complaint either."""
    return mark(exercise, program, Effort(edits=0)).all_met
