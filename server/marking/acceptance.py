"""The acceptance run: replay the suite on a program and judge each requirement."""

from dataclasses import replace

import numpy as np

from server.ladder.program import Program
from server.marking.causes.failure_cause import causes_of_failure
from server.marking.check import Pattern, ProgramCheck
from server.marking.evidence import look_at
from server.marking.exercise import Exercise, Requirement
from server.marking.first_violations import Failure, SuiteFinding, findings, scenarios_of
from server.marking.machine import Assembled, kept_frame
from server.marking.outputs_seen import done_instead
from server.marking.phrases import (
    broken_later,
    known_by_scenarios,
    met_but_broken_later,
    met_but_following,
    not_judged,
)
from server.marking.replay import NEVER, Replay, replay_blocks
from server.marking.scenario import faults_in
from server.marking.timeline import suite_timelines
from server.marking.verdict import Evidence, RequirementVerdict, Status, Verdict
from server.scan.engine_version import ENGINE_VERSION


def acceptance_run(exercise: Exercise, program: Program, *, causes: bool = True) -> Verdict:
    """Mark a program that is free of errors.

    Without ``causes`` the verdict says the same, but not why a signal had its value.
    """
    faults = faults_in(exercise.scenarios)
    assembled = kept_frame(exercise, faults).assembled(program)
    timelines = suite_timelines(exercise, faults)
    result = replay_blocks(assembled, timelines, len(exercise.scenarios))
    judged = tuple(
        _judge(exercise, program, assembled, result, requirement, found, causes)
        for requirement, found in zip(
            exercise.requirements,
            findings(exercise, assembled, result.violated, result.exercised),
            strict=True,
        )
    )
    return Verdict(
        exercise=exercise.slug,
        exercise_version=exercise.version,
        suite_hash=exercise.suite_hash,
        engine_version=ENGINE_VERSION,
        requirements=judged,
        fault=_fault_sentence(result, assembled.machine.period_ms),
    )


def _judge(
    exercise: Exercise,
    program: Program,
    assembled: Assembled,
    result: Replay,
    requirement: Requirement,
    found: SuiteFinding,
    causes: bool,
) -> RequirementVerdict:
    for check in requirement.checks:
        if isinstance(check, ProgramCheck):
            complaint = check.complaint(exercise.view(program))
            if complaint is not None:
                return _verdict(requirement, Status.NOT_MET, "the program's text", complaint)
    failure = found.failure
    if failure is not None:
        scenario = exercise.scenarios[failure.scenario]
        shown, run = look_at(exercise, assembled, failure.monitor, scenario, failure.scan)
        sentence = failure.check.not_met(requirement.id, run)
        kept = _with_causes(exercise, program, failure, shown) if causes else shown
        return _verdict(requirement, Status.NOT_MET, "a scenario", sentence, kept)
    if found.idle is not None:
        if found.follows:
            sentence = not_judged(requirement.id, found.follows)
        elif found.after:
            sentence = broken_later(requirement.id, found.after)
        else:
            sentence = _not_reached(exercise, assembled, requirement, found.idle)
        return _verdict(requirement, Status.NOT_EXERCISED, "", sentence)
    if not found.held:
        return _verdict(requirement, Status.MET, "seen in the program's text", "")
    scans = int(np.sum(result.scans[sorted(found.held)]))
    known = known_by_scenarios(len(found.held), scans * assembled.machine.period_ms)
    note = ""
    if found.follows:
        note = met_but_following(requirement.id, found.follows)
    elif found.after:
        note = met_but_broken_later(requirement.id, found.after)
    return _verdict(requirement, Status.MET, known, note)


def _not_reached(
    exercise: Exercise, assembled: Assembled, requirement: Requirement, idle: Pattern
) -> str:
    """Return what never happened, and what the program did instead."""
    number = exercise.requirements.index(requirement)
    scenarios = scenarios_of(exercise, number, idle)
    said = idle.not_reached(requirement.id)
    return f"{said} {done_instead(exercise, assembled, scenarios)}" if scenarios else said


def _with_causes(
    exercise: Exercise, program: Program, failure: Failure, shown: Evidence
) -> Evidence:
    scenario = exercise.scenarios[failure.scenario]
    causes = causes_of_failure(exercise, program, failure.check, scenario, failure.scan)
    return replace(shown, causes=causes)


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
