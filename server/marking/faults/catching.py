"""What a suite finds wrong with a program, the short way: statuses without sentences or traces."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.acceptance import scenarios_of
from server.marking.check import ProgramCheck
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.replay import LONGEST_MS
from server.marking.scenario import faults_in
from server.marking.timeline import timeline_of
from server.marking.verdict import Status
from server.plant.loop import (
    NO_RECORD,
    code_of,
    fresh_memory,
    fresh_progress,
    run,
    watch_planes,
)
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
    exercised = np.zeros(len(assembled.monitors), np.bool_)
    for first in range(0, len(exercise.scenarios), LANES):
        for number in _violated(exercise, assembled, first, exercised, first_only):
            found[number] = Status.NOT_MET
        if found and first_only:
            return found
    for (number, _), monitor in assembled.monitor_numbers.items():
        if not exercised[monitor]:
            found.setdefault(number, Status.NOT_EXERCISED)
    return found


def _structural(exercise: Exercise, program: Program) -> Iterator[int]:
    view = exercise.view(program)
    for number, requirement in enumerate(exercise.requirements):
        for check in requirement.checks:
            if isinstance(check, ProgramCheck) and check.complaint(view):
                yield number


def _violated(
    exercise: Exercise,
    assembled: Assembled,
    first: int,
    exercised: NDArray[np.bool_],
    first_only: bool,
) -> list[int]:
    """Run one block of scenarios; the requirements violated. Notes what was exercised."""
    places = list(assembled.monitor_numbers.items())
    counted = np.array(
        [
            _mask(scenarios_of(exercise, number, assembled.checks[monitor]), first)
            for (number, _), monitor in places
        ],
        np.uint64,
    )
    monitors = [assembled.monitors[monitor] for _, monitor in places]
    bad = np.array([monitor.violated for monitor in monitors], np.int64)
    tried = np.array([monitor.exercised for monitor in monitors], np.int64)
    timeline = timeline_of(exercise.scenarios[first : first + LANES], assembled)
    memory, progress = fresh_memory(assembled.machine), fresh_progress(timeline)
    code, nothing = code_of(assembled.machine), watch_planes([])
    step_ms = LOOK_MS if first_only else LONGEST_MS
    scans, violated = step_ms // exercise.period_ms, np.zeros(0, np.int64)
    for _ in range(LONGEST_MS // step_ms):
        done = run(
            *(code, memory, timeline, progress, nothing, NO_RECORD, assembled.running, scans)
        )
        violated = np.flatnonzero(memory.bits[bad] & counted)
        if done < scans or (first_only and violated.size):
            break
    for row in np.flatnonzero(memory.bits[tried] & counted):
        exercised[places[row][1]] = True
    return [places[row][0][0] for row in violated]


def _mask(scenarios: list[int], first: int) -> int:
    """Return the lanes of a block in which a check counts."""
    return sum(1 << (s - first) for s in scenarios if first <= s < first + LANES)
