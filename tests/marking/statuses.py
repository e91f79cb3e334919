"""The status of each requirement, where a test wants nothing else of a verdict."""

from server.ladder.program import Program
from server.marking.acceptance import acceptance_run
from server.marking.exercise import Exercise
from server.marking.verdict import Status


def statuses(exercise: Exercise, program: Program) -> dict[str, Status]:
    """Return what the acceptance run says, by requirement, in the order of the exercise."""
    verdict = acceptance_run(exercise, program, causes=False)
    return {each.id: each.status for each in verdict.requirements}
