"""Where in a program each requirement that is not met is broken, for its verdict."""

from collections.abc import Iterator
from dataclasses import replace

from server.ladder.program import Program
from server.marking.causes.cause import why
from server.marking.causes.failure_cause import LONGEST_SCANS
from server.marking.causes.recording import record_scenario
from server.marking.check import Pattern
from server.marking.exercise import Exercise, Requirement
from server.marking.faults.catching import Suite
from server.marking.faults.faulty_place import BrokenRun, FaultyPlace, faulty_place
from server.marking.judged_outputs import judged_outputs
from server.marking.verdict import Evidence, RequirementVerdict, Status, Verdict


def with_places(
    exercise: Exercise, program: Program, verdict: Verdict, suite: Suite, *, most: int
) -> Verdict:
    """Return a verdict that says where in the program the causes of each failure lead.

    At most ``most`` near programs are tried in ``suite``, that of the exercise. Where an edit in
    one place mends all that one can, the causes of all failures lead there.
    """
    broken = dict(_broken(exercise, verdict))
    if not most or not broken:
        return verdict
    found: dict[int, FaultyPlace] = {}
    for number, evidence in broken.items():
        run = _run(exercise, program, number, evidence)
        if run is not None:
            found[number] = faulty_place(
                exercise, program, run, most=most // len(broken), suite=suite
            )
            if found[number].alone:
                found = dict.fromkeys(broken, found[number])
                break
    judged = list(verdict.requirements)
    for number, each in found.items():
        judged[number] = _leading(judged[number], each, program)
    return replace(verdict, requirements=tuple(judged))


def _broken(exercise: Exercise, verdict: Verdict) -> Iterator[tuple[int, Evidence]]:
    """Yield the requirements, by number, that a scenario of the suite breaks, with its evidence."""
    names = {scenario.name for scenario in exercise.scenarios}
    for number, told in enumerate(verdict.requirements):
        evidence = told.evidence
        if told.status is Status.NOT_MET and evidence is not None and evidence.scenario in names:
            yield number, evidence


def _run(exercise: Exercise, program: Program, number: int, evidence: Evidence) -> BrokenRun | None:
    """Return the run of the evidence up to its moment; None for one that is too long."""
    scan = evidence.at_ms // exercise.period_ms
    if scan >= LONGEST_SCANS:
        return None
    scenario = next(s for s in exercise.scenarios if s.name == evidence.scenario)
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


def _leading(told: RequirementVerdict, found: FaultyPlace, program: Program) -> RequirementVerdict:
    if found.place is None or found.place.rung is None:
        return told
    words = found.describe(program)
    return replace(told, leads_to=words, leads_to_rung=found.place.rung)
