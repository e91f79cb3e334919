"""Whether a suite catches a wrong program: the short way, which stops at the first complaint."""

from dataclasses import dataclass

import numpy as np

from server.ladder.program import Program
from server.marking.acceptance import scenarios_of
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.patterns import StructureRule
from server.marking.replay import LONGEST_MS
from server.marking.structure import judge_structure
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

PATIENCE_MS = 2000
"""Plant time between two looks at the monitors."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """A requirement that is not met, by its number in the exercise, and which way."""

    requirement: int
    status: Status


def first_complaint(exercise: Exercise, program: Program) -> Complaint | None:
    """One requirement that the written scenarios find not met or not exercised; None for none.

    Not met comes before not exercised. Agrees with ``acceptance.statuses`` on whether there is
    one, but runs no scenario further than to the first violation.
    """
    for number, requirement in enumerate(exercise.requirements):
        for check in requirement.checks:
            rule = check.property
            if isinstance(rule, StructureRule) and judge_structure(rule, program, exercise):
                return Complaint(number, Status.NOT_MET)
    assembled = assemble(exercise, program)
    exercised = np.zeros(len(assembled.monitors), bool)
    for first in range(0, len(exercise.scenarios), LANES):
        violated = _run(exercise, assembled, first, exercised)
        if violated is not None:
            return Complaint(violated, Status.NOT_MET)
    for (number, _), monitor in assembled.monitor_numbers.items():
        if not exercised[monitor]:
            return Complaint(number, Status.NOT_EXERCISED)
    return None


def _run(exercise: Exercise, assembled: Assembled, first: int, exercised: np.ndarray) -> int | None:
    """Run one block of scenarios; the first requirement violated. Notes what was exercised."""
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
    scans = PATIENCE_MS // exercise.period_ms
    for _ in range(LONGEST_MS // PATIENCE_MS):
        done = run(
            *(code, memory, timeline, progress, nothing, NO_RECORD, assembled.running, scans)
        )
        violated = np.flatnonzero(memory.bits[bad] & counted)
        if violated.size:
            return places[int(violated[0])][0][0]
        if done < scans:
            break
    for row in np.flatnonzero(memory.bits[tried] & counted):
        exercised[places[int(row)][1]] = True
    return None


def _mask(scenarios: list[int], first: int) -> int:
    """The lanes of a block in which a check counts."""
    return sum(1 << (s - first) for s in scenarios if first <= s < first + LANES)
