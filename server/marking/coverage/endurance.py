"""The endurance run: a program on a working day, judged by the checks and by the references.

It reaches what the search and random minutes do not: the 50th item, the 15th press, a valve that
shuts by itself after a while. What is found is a run of its own with fixed times, cut down to the
steps that it takes, and counts only where the right programs do better in the same run.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.ladder.program import Program
from server.marking.coverage.working_day import SHORTEST_MS, day_length_ms, working_day
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.proofs.shrinking import shrink
from server.marking.proofs.stress import Violation
from server.marking.replay import NEVER, replay, replay_block, trace
from server.marking.right_programs import right_programs_break
from server.marking.scenario import Scenario, Step, faults_in
from server.marking.shadows import REQUIREMENT
from server.marking.timeline import timeline_of
from server.scan.assembler import Bit

MOST_ROUNDS = 8
"""Rounds of cutting down a run of a day as it is; a longer day has fewer."""


def endurance_run(
    exercise: Exercise, program: Program, wanted: frozenset[int]
) -> dict[int, list[Violation]]:
    """Work a day; return a violation of each check of the requirements ``wanted`` that has one.

    The key is the requirement's number in the exercise. In one lane only what is violated first
    counts. References must not violate it there. The second look, if the exercise has it, is
    returned only where no other requirement is violated.
    """
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    length_ms = day_length_ms(program, assembled)
    day = working_day(exercise, assembled, length_ms)
    if not day:
        return {}
    violated = replay_block(assembled, timeline_of(day, assembled), length_ms)[0]
    own, looks = list[tuple[int, int]](), list[tuple[int, int]]()
    for (number, index), monitor in assembled.monitor_numbers.items():
        requirement = exercise.requirements[number]
        if number in wanted and not requirement.checks[index].scenarios:
            (looks if requirement.id == REQUIREMENT else own).append((number, monitor))
    rounds = max(1, MOST_ROUNDS * SHORTEST_MS // length_ms)
    late = exercise.tolerance_ms // exercise.period_ms
    found: dict[int, list[Violation]] = {}
    # A requirement that was broken before hides others, be it wanted or not.
    hiding = [
        monitor
        for (number, index), monitor in assembled.monitor_numbers.items()
        if exercise.requirements[number].id != REQUIREMENT
        and not exercise.requirements[number].checks[index].scenarios
    ]
    for judging, before in ((own, hiding), (looks, [monitor for _, monitor in looks])):
        first = violated[before].min(axis=0, initial=NEVER)
        for number, monitor in judging:
            seen = np.where(violated[monitor] <= first + late, violated[monitor], NEVER)
            lane = int(np.argmin(seen))
            if seen[lane] != NEVER:
                timed = _timed(assembled, day[lane], int(seen[lane]))
                if not right_programs_break(exercise, number, timed):
                    shortest = _shrunk(assembled, monitor, before, late, timed, rounds)
                    found.setdefault(number, []).append(shortest)
        if found:
            break
    return found


def _timed(assembled: Assembled, scenario: Scenario, last: int) -> Scenario:
    """Return the scenario up to scan ``last``, with times in place of waits for the plant."""
    period = assembled.machine.period_ms
    conditions = {
        step.when.text: Bit(assembled.conditions[step.when.text])
        for step in scenario.steps
        if step.when is not None
    }
    seen = trace(assembled, scenario, dict(conditions), last + 1).signals
    since, steps = 0, list[Step]()
    for step in scenario.steps:
        if step.when is None:
            now = since + -(-step.after_ms // period)
        else:
            # A wait sees the plant as the scan before left it.
            held = np.flatnonzero(seen[step.when.text][max(0, since - 1) : last])
            waited = int(held[0]) + (not since) if held.size else last
            now = since + min(waited, step.within_ms // period)
        if now > last:
            break
        steps.append(Step(step.actions, (now - since) * period))
        since = now
    return replace(scenario, steps=tuple(steps), run_on_ms=(last - since + 1) * period)


def _shrunk(
    assembled: Assembled,
    monitor: int,
    before: list[int],
    late: int,
    scenario: Scenario,
    rounds: int,
) -> Violation:
    """Leave out steps as long as the monitor is still violated, and none of ``before`` earlier."""

    def first(scenarios: Sequence[Scenario]) -> list[int]:
        violated = replay(assembled, scenarios).violated
        hidden = violated[monitor] > violated[before].min(axis=0, initial=NEVER) + late
        return [int(scan) for scan in np.where(hidden, NEVER, violated[monitor])]

    shortest = shrink(scenario, lambda s: [scan != NEVER for scan in first(s)], rounds)
    return Violation(monitor, shortest, first([shortest])[0])
