"""Which requirements fall short for one reason: one change of the program mends several.

Single edits are tried, as for the nearest right program (``marking.faults.repair``), but few of
them, since a student waits. The edit that mends most is one cause; among what is left the next is
sought. The count of trials bounds the time, so that the answer is the same on every machine.
"""

from itertools import islice

from server.ladder.program import Program
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.catching import Suite
from server.marking.faults.repairs import single_edits
from server.marking.verdict import SharedCause, Status, Verdict

MOST_TRIALS = 160
"""Programs that are tried for one verdict, some ten milliseconds each."""


def find_shared_causes(
    exercise: Exercise, program: Program, verdict: Verdict, suite: Suite, *, most: int = MOST_TRIALS
) -> tuple[SharedCause, ...]:
    """Return the causes of two or more requirements that are not met or not reached.

    ``program`` must be free of errors, ``suite`` be that of the exercise. No edit writes a comment,
    so documentation has no part.
    """
    ids = {
        number: requirement.id
        for number, requirement in enumerate(exercise.requirements)
        if requirement.kind is not RequirementKind.DOCUMENTATION
    }
    short = {r.id for r in verdict.requirements if r.status is not Status.MET}
    if not most or len(short) < 2:
        return ()
    # What only a random run or a search has broken, no replay of the suite can see mended.
    short &= {ids[number] for number in ids.keys() & suite.complaints(program)}
    if len(short) < 2:
        return ()
    tried: list[tuple[frozenset[str], str]] = []
    for edit in islice(single_edits(exercise, program), most):
        left = {ids[number] for number in ids.keys() & suite.complaints(edit.program)}
        if left <= short:
            tried.append((frozenset(short - left), edit.sentence))
        if not left:
            break
    causes: list[SharedCause] = []
    while True:
        mended, sentence = max(
            ((mended & short, sentence) for mended, sentence in tried),
            key=lambda each: len(each[0]),
            default=(frozenset[str](), ""),
        )
        if len(mended) < 2:
            return tuple(causes)
        causes.append(SharedCause(tuple(each for each in ids.values() if each in mended), sentence))
        short -= mended
