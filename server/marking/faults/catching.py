"""What a suite finds wrong with a program, the short way: statuses without sentences or traces."""

from collections.abc import Iterator

import numpy as np

from server.ladder.program import Program
from server.marking.check import ProgramCheck
from server.marking.exercise import Exercise
from server.marking.first_violations import (
    are_first,
    counted_in_suite,
    findings,
    tolerance_scans,
)
from server.marking.machine import Assembled, assemble
from server.marking.replay import LONGEST_MS, NEVER, monitor_planes, replay
from server.marking.scenario import faults_in
from server.marking.timeline import timeline_of
from server.marking.verdict import Status
from server.plant.loop import NO_RECORD, code_of, fresh_memory, fresh_progress, run, watch_planes
from server.scan.lanes import LANES

LOOK_MS = 2000
"""Plant time between two looks at the monitors when the first violation is enough."""


def complaints(
    exercise: Exercise, program: Program, *, first_only: bool = False
) -> dict[int, Status]:
    """Return the requirements, by number, that the written scenarios don't find met.

    Empty for a program that meets everything. With ``first_only`` the run stops at the first
    violation that it sees, so that some requirement is named if there is any.
    """
    found = dict.fromkeys(_structural(exercise, program), Status.NOT_MET)
    if found and first_only:
        return found
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    if first_only:
        return _seen_early(exercise, assembled)
    runs = findings(exercise, assembled, replay(assembled, exercise.scenarios))
    short = {n: each.status for n, each in enumerate(runs) if each.status is not Status.MET}
    return short | found


def _structural(exercise: Exercise, program: Program) -> Iterator[int]:
    view = exercise.view(program)
    for number, requirement in enumerate(exercise.requirements):
        for check in requirement.checks:
            if isinstance(check, ProgramCheck) and check.complaint(view):
                yield number


def _seen_early(exercise: Exercise, assembled: Assembled) -> dict[int, Status]:
    """Return the complaints that the first look with a violation shows, else those of all runs."""
    counts, n = counted_in_suite(exercise, assembled), len(assembled.monitors)
    exercised = np.zeros(n, np.bool_)
    code, scans = code_of(assembled.machine), LOOK_MS // exercise.period_ms
    for start in range(0, len(exercise.scenarios), LANES):
        block = counts[:, start : start + LANES]
        timeline = timeline_of(exercise.scenarios[start : start + LANES], assembled)
        memory, progress = fresh_memory(assembled.machine), fresh_progress(timeline)
        watch = watch_planes(monitor_planes(assembled))
        for _ in range(LONGEST_MS // LOOK_MS):
            done = run(
                *(code, memory, timeline, progress, watch, NO_RECORD, assembled.running, scans)
            )
            seen = watch.first_seen[:, : block.shape[1]]
            first = are_first(seen[:n], block, tolerance_scans(exercise))
            if first.any():
                broken = {
                    num for (num, _), m in assembled.monitor_numbers.items() if first[m].any()
                }
                return dict.fromkeys(sorted(broken), Status.NOT_MET)
            if done < scans:
                break
        exercised |= ((seen[n:] != NEVER) & block).any(axis=1)
    idle = {num for (num, _), m in assembled.monitor_numbers.items() if not exercised[m]}
    return dict.fromkeys(sorted(idle), Status.NOT_EXERCISED)
