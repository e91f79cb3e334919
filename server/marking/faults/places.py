"""Where in a program each requirement that is not met is broken, for those who ask.

It is worked out when it is asked for, since many near programs may have to be tried.
"""

from server.ladder.program import Program
from server.marking.causes.cause import why
from server.marking.causes.failure_cause import LONGEST_SCANS
from server.marking.causes.recording import record_scenario
from server.marking.check import Pattern
from server.marking.exercise import Exercise, Requirement
from server.marking.faults.catching import Suite
from server.marking.faults.faulty_place import BrokenRun, FaultyPlace, faulty_place
from server.marking.judged_outputs import judged_outputs
from server.marking.scenario import Scenario
from server.marking.verdict import Status, Verdict

MOST_TRIALS = 160
"""Programs that are tried for all requirements together, a few milliseconds each."""


def find_places(
    exercise: Exercise, program: Program, verdict: Verdict, *, most: int = MOST_TRIALS
) -> dict[str, FaultyPlace]:
    """Return where the causes of each failure lead, by the requirement's id.

    ``verdict`` is that on ``program``; one that an earlier suite gave has none. At most ``most``
    near programs are tried. Where an edit in one place mends all that one can, the causes of all
    failures lead there. A requirement is missing where no rung has to do with its failure.
    """
    if verdict.suite_hash != exercise.suite_hash:
        return {}
    suite = Suite(exercise)
    broken = broken_runs(exercise, verdict)
    ids = [requirement.id for requirement in exercise.requirements]
    found: dict[str, FaultyPlace] = {}
    for number, (scenario, scan) in broken.items():
        if scan >= LONGEST_SCANS:
            continue
        run = _run(exercise, program, number, scenario, scan)
        place = faulty_place(exercise, program, run, most=most // len(broken), suite=suite)
        found[ids[number]] = place
        if place.alone:
            found = {ids[each]: place for each in broken}
            break
    return {name: each for name, each in found.items() if each.rung is not None}


def broken_runs(exercise: Exercise, verdict: Verdict) -> dict[int, tuple[Scenario, int]]:
    """Return the requirements, by number, that the suite breaks: in which scenario and scan."""
    scenarios = {scenario.name: scenario for scenario in exercise.scenarios}
    return {
        number: (scenarios[evidence.scenario], evidence.at_ms // exercise.period_ms)
        for number, told in enumerate(verdict.requirements)
        if told.status is Status.NOT_MET
        and (evidence := told.evidence) is not None
        and evidence.scenario in scenarios
    }


def _run(
    exercise: Exercise, program: Program, number: int, scenario: Scenario, scan: int
) -> BrokenRun:
    """Return the run of a requirement's evidence up to its moment."""
    history = record_scenario(exercise, program, scenario, scan + 1)
    view = exercise.view(program)
    own = [view.own_name(symbol) for symbol in _outputs(exercise, exercise.requirements[number])]
    chains = [
        why(program, history, symbol, history.scans - 1, exercise.points)
        for symbol in own
        if symbol is not None
    ]
    reasons = tuple(dict.fromkeys(reason for chain in chains for reason in chain))
    return BrokenRun(number, scenario, history, reasons)


def _outputs(exercise: Exercise, requirement: Requirement) -> dict[str, None]:
    """Return the symbols of the outputs that a requirement's checks judge."""
    patterns = (check for check in requirement.checks if isinstance(check, Pattern))
    return dict.fromkeys(symbol for each in patterns for symbol in judged_outputs(exercise, each))
