"""Whether the right programs of an exercise keep a requirement in a run.

What a search, a random run or a working day finds is a run that nobody has written. Where a right
program breaks the requirement there, too, the check is at fault, not the program that is marked.
"""

from server.marking.exercise import Exercise
from server.marking.machine import assemble
from server.marking.replay import NEVER, replay_block
from server.marking.scenario import Scenario, faults_in
from server.marking.timeline import timeline_of


def right_programs_break(exercise: Exercise, number: int, scenario: Scenario) -> bool:
    """Return whether some reference violates requirement ``number`` (from 0) in the scenario."""
    faults = faults_in((*exercise.scenarios, scenario))
    for reference in exercise.references:
        assembled = assemble(exercise, reference, faults=faults)
        violated = replay_block(assembled, timeline_of([scenario], assembled))[0]
        monitors = [m for (n, _), m in assembled.monitor_numbers.items() if n == number]
        if (violated[monitors, 0] != NEVER).any():
            return True
    return False
