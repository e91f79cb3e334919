"""A scenario as a trial run that happens again, on a program of one's choice."""

from server.ladder.program import Program
from server.marking.scenario import Action, Scenario
from server.marking.trial.trial import Recorded


def recorded_run(scenario: Scenario, program: Program, period_ms: int) -> Recorded | None:
    """Return the scenario as a recorded run; None where a step waits for a condition.

    When such a step comes depends on the program, and a record has fixed times.
    """
    if any(step.when is not None for step in scenario.steps):
        return None
    events: list[tuple[int, Action]] = [(0, action) for action in scenario.start]
    scan = 0
    for step in scenario.steps:
        scan += -(-step.after_ms // period_ms)
        events += [(scan, action) for action in step.actions]
    return Recorded(program, tuple(events), scan + -(-scenario.run_on_ms // period_ms))
