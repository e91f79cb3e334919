"""Which requirements fall short for one reason: one change of the program mends several.

Single edits are tried, as for the nearest right program (``marking.faults.repair``), but few of
them, since a student waits. The edit that mends most is one cause; among what is left the next is
sought. The count of trials bounds the time, so that the answer is the same on every machine.

Most edits need no whole replay of the suite: they change nothing in the runs in which requirements
were broken, or too much is broken again soon.
"""

from collections.abc import Collection, Mapping, Set
from itertools import islice

from server.ladder.program import Program
from server.marking.causes.failure_cause import LONGEST_SCANS
from server.marking.causes.recording import record_scenario
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.catching import Suite, breaks_beyond
from server.marking.faults.places import broken_runs
from server.marking.faults.repairs import single_edits
from server.marking.faults.rung_effect import Effects
from server.marking.faults.variants import Variant
from server.marking.scenario import Scenario
from server.marking.verdict import SharedCause, Status, Verdict

MOST_TRIALS = 160
"""Programs that are tried for one verdict, a millisecond or two each."""


def find_shared_causes(
    exercise: Exercise, program: Program, verdict: Verdict, *, most: int = MOST_TRIALS
) -> tuple[SharedCause, ...]:
    """Return the causes of two or more requirements that are not met or not reached.

    ``program`` must be free of errors. No edit writes a comment, so documentation has no part.
    """
    ids = {
        number: requirement.id
        for number, requirement in enumerate(exercise.requirements)
        if requirement.kind is not RequirementKind.DOCUMENTATION
    }
    short = {r.id for r in verdict.requirements if r.status is not Status.MET}
    if not most or len(short) < 2:
        return ()
    suite = Suite(exercise)
    # What only a random run or a search has broken, no replay of the suite can see mended.
    short &= {ids[number] for number in ids.keys() & suite.complaints(program)}
    if len(short) < 2:
        return ()

    def mended(complaints: Collection[int]) -> frozenset[str]:
        left = {ids[number] for number in ids.keys() & complaints}
        return frozenset(short - left) if left <= short else frozenset()

    runs, tried = _Runs(exercise, program, verdict, short), list[tuple[frozenset[str], str]]()
    for edit in islice(single_edits(exercise, program), most):
        if runs.reached(edit) < 2:
            continue
        left = suite.complaints_while(edit.program, lambda sure: len(mended(sure)) >= 2)
        if left is not None:
            tried.append((mended(left), edit.sentence))
            if mended(left) == short:
                break
    causes: list[SharedCause] = []
    while True:
        most_mended, sentence = max(
            ((each & short, sentence) for each, sentence in tried),
            key=lambda each: len(each[0]),
            default=(frozenset[str](), ""),
        )
        if len(most_mended) < 2:
            return tuple(causes)
        together = tuple(each for each in ids.values() if each in most_mended)
        causes.append(SharedCause(together, sentence))
        short -= most_mended


def mended_beside(
    exercise: Exercise,
    program: Program,
    runs: Mapping[int, tuple[Scenario, int]],
    *,
    most: int,
) -> frozenset[int]:
    """Return which of ``runs`` break a requirement for a reason that breaks another in the suite.

    ``runs`` has, by the number of a requirement that the suite finds met, a run that breaks it and
    the scan at which it does. The reason is one if some edit mends a requirement that the suite
    breaks, breaks none, and keeps the other in its run.
    """
    suite, left = Suite(exercise), dict(runs)
    mended: set[int] = set()
    # No edit writes a comment.
    documentation = {
        n for n, r in enumerate(exercise.requirements) if r.kind is RequirementKind.DOCUMENTATION
    }

    def broken_in(complaints: Mapping[int, Status]) -> Set[int]:
        return {n for n, s in complaints.items() if s is Status.NOT_MET} - documentation

    before = suite.complaints(program)
    broken = broken_in(before)

    def helps(sure: Set[int]) -> bool:
        return sure - documentation < broken

    for edit in islice(single_edits(exercise, program), most):
        if not left:
            break
        complaints = suite.complaints_while(edit.program, helps)
        if complaints is None or not broken_in(complaints) < broken:
            continue
        if not complaints.keys() <= before.keys():
            continue
        kept = {
            number
            for number, (scenario, scan) in left.items()
            if not breaks_beyond(exercise, edit.program, number, scenario, scan + 1)
        }
        mended |= kept
        left = {number: run for number, run in left.items() if number not in kept}
    return frozenset(mended)


class _Runs:
    """The runs in which requirements of ``short`` were broken."""

    def __init__(
        self, exercise: Exercise, program: Program, verdict: Verdict, short: Collection[str]
    ) -> None:
        ends: dict[Scenario, list[int]] = {}
        for number, (scenario, scan) in broken_runs(exercise, verdict).items():
            if exercise.requirements[number].id in short and scan < LONGEST_SCANS:
                ends.setdefault(scenario, []).append(scan)
        self._runs = [
            (Effects(program, record_scenario(exercise, program, scenario, max(scans) + 1)), scans)
            for scenario, scans in ends.items()
        ]
        self._unseen = len(short) - sum(map(len, ends.values()))

    def reached(self, edit: Variant) -> int:
        """Return how many requirements an edit may mend, at most.

        In a run in which it changes nothing until then, a requirement is broken again.
        """
        changes = ((effects.of(edit), scan) for effects, scans in self._runs for scan in scans)
        return self._unseen + sum(bool(each[: scan + 1].any()) for each, scan in changes)
