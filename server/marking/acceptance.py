"""The acceptance run: replay the suite on a program and judge each requirement."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from server.ladder.program import Program
from server.marking.causes.failure_cause import causes_of_failure
from server.marking.check import Check, Pattern, ProgramCheck
from server.marking.evidence import look_at
from server.marking.exercise import Exercise, Requirement
from server.marking.machine import Assembled, assemble
from server.marking.phrases import known_by_scenarios
from server.marking.replay import NEVER, Replay, replay
from server.marking.scenario import faults_in
from server.marking.verdict import Evidence, RequirementVerdict, Status, Verdict
from server.scan.engine_version import ENGINE_VERSION


@dataclass(frozen=True, slots=True)
class Failure:
    """A violated check: monitor number, scenario number, scan of the first violation."""

    check: Pattern
    monitor: int
    scenario: int
    scan: int


def acceptance_run(exercise: Exercise, program: Program, *, evidence: bool = True) -> Verdict:
    """Mark a program that is free of errors.

    Without ``evidence`` the verdict says the same, but carries no traces.
    """
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    result = replay(assembled, exercise.scenarios)
    judged = tuple(
        _judge(exercise, program, assembled, result, number, evidence)
        for number in range(len(exercise.requirements))
    )
    return Verdict(
        exercise=exercise.slug,
        exercise_version=exercise.version,
        suite_hash=exercise.suite_hash,
        engine_version=ENGINE_VERSION,
        requirements=judged,
        fault=_fault_sentence(result, assembled.machine.period_ms),
    )


def statuses(exercise: Exercise, program: Program) -> dict[str, Status]:
    """Only the status of each requirement: the short way for many programs."""
    verdict = acceptance_run(exercise, program, evidence=False)
    return {r.id: r.status for r in verdict.requirements}


def _judge(
    exercise: Exercise,
    program: Program,
    assembled: Assembled,
    result: Replay,
    number: int,
    evidence: bool,
) -> RequirementVerdict:
    requirement = exercise.requirements[number]
    for check in requirement.checks:
        if isinstance(check, ProgramCheck):
            complaint = check.complaint(exercise.view(program))
            if complaint is not None:
                return _verdict(requirement, Status.NOT_MET, "the program's text", complaint)
    failure = min(
        _failures(exercise, assembled, result, number),
        key=lambda f: (not exercise.scenarios[f.scenario].open, f.scenario, f.scan),
        default=None,
    )
    if failure is not None:
        scenario = exercise.scenarios[failure.scenario]
        shown, run = look_at(exercise, assembled, failure.monitor, scenario, failure.scan)
        sentence = failure.check.not_met(requirement.id, run)
        kept = _with_causes(exercise, program, failure, shown) if evidence else None
        return _verdict(requirement, Status.NOT_MET, "a scenario", sentence, kept)
    scenarios: set[int] = set()
    for pattern, monitor in _monitors(requirement, assembled, number):
        lanes = [
            s
            for s in scenarios_of(exercise, number, pattern)
            if result.exercised[monitor, s] != NEVER
        ]
        if not lanes:
            return _verdict(
                requirement, Status.NOT_EXERCISED, "", pattern.not_reached(requirement.id)
            )
        scenarios.update(lanes)
    if not scenarios:
        return _verdict(requirement, Status.MET, "seen in the program's text", "")
    scans = int(np.sum(result.scans[sorted(scenarios)]))
    known = known_by_scenarios(len(scenarios), scans * assembled.machine.period_ms)
    return _verdict(requirement, Status.MET, known, "")


def _with_causes(
    exercise: Exercise, program: Program, failure: Failure, shown: Evidence
) -> Evidence:
    scenario = exercise.scenarios[failure.scenario]
    causes = causes_of_failure(exercise, program, failure.check, scenario, failure.scan)
    return replace(shown, causes=causes)


def _monitors(
    requirement: Requirement, assembled: Assembled, number: int
) -> Iterator[tuple[Pattern, int]]:
    for index, check in enumerate(requirement.checks):
        if isinstance(check, Pattern):
            yield check, assembled.monitor_numbers[number, index]


def scenarios_of(exercise: Exercise, number: int, check: Check) -> list[int]:
    """Return the scenarios in which a check of a requirement counts."""
    name = exercise.requirements[number].id
    return [
        lane
        for lane, scenario in enumerate(exercise.scenarios)
        if (not scenario.judges or name in scenario.judges)
        and (not check.scenarios or scenario.name in check.scenarios)
    ]


def _failures(
    exercise: Exercise, assembled: Assembled, result: Replay, number: int
) -> Iterator[Failure]:
    for check, monitor in _monitors(exercise.requirements[number], assembled, number):
        for lane in scenarios_of(exercise, number, check):
            scan = int(result.violated[monitor, lane])
            if scan != NEVER:
                yield Failure(check, monitor, lane, scan)


def _verdict(
    requirement: Requirement,
    status: Status,
    known_by: str,
    sentence: str,
    evidence: Evidence | None = None,
) -> RequirementVerdict:
    score = float(requirement.weight) if status is Status.MET else 0.0
    return RequirementVerdict(
        requirement.id, status, known_by, sentence, score, float(requirement.weight), evidence
    )


def _fault_sentence(result: Replay, period_ms: int) -> str:
    first = int(np.min(result.fault, initial=NEVER))
    if first == NEVER:
        return ""
    return (
        f"A calculation had no result at {first * period_ms / 1000:.2f} s: a number left the range "
        "-32768 to 32767, or a division by zero. The target kept its value and the scan went on."
    )
