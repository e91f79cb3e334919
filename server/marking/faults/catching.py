"""What a suite finds wrong with a program, the short way: statuses without sentences or traces."""

from collections.abc import Iterator
from functools import cached_property
from itertools import count

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
from server.marking.machine import Assembled, Frame
from server.marking.replay import LONGEST_MS, NEVER, monitor_planes, replay_block, replay_blocks
from server.marking.scenario import Scenario, faults_in
from server.marking.timeline import timeline_of
from server.marking.verdict import Status
from server.plant.loop import (
    NO_RECORD,
    Timeline,
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
    """Return what ``Suite.complaints`` does, where one program is asked for."""
    return Suite(exercise).complaints(program, first_only=first_only)


class Suite:
    """The written scenarios of an exercise, made ready once for many programs."""

    def __init__(self, exercise: Exercise) -> None:
        self._exercise = exercise
        self._known: dict[Program, dict[int, Status]] = {}
        self._blocks = [
            exercise.scenarios[start : start + LANES]
            for start in range(0, len(exercise.scenarios), LANES)
        ]

    @cached_property
    def _frame(self) -> Frame:
        return Frame(self._exercise, faults_in(self._exercise.scenarios))

    @cached_property
    def _timelines(self) -> list[Timeline]:
        empty = self._frame.assembled(Program("none"))
        return [timeline_of(block, empty) for block in self._blocks]

    def complaints(self, program: Program, *, first_only: bool = False) -> dict[int, Status]:
        """Return the requirements, by number, that the written scenarios don't find met.

        Empty for a program that meets everything. With ``first_only`` the run stops at the first
        violation that it sees, so that some requirement is named if there is any.
        """
        if first_only:
            structural = dict.fromkeys(_structural(self._exercise, program), Status.NOT_MET)
            return structural or self._seen_early(self._frame.assembled(program))
        if program not in self._known:
            self._known[program] = self._complaints(program)
        return self._known[program]

    def _complaints(self, program: Program) -> dict[int, Status]:
        exercise = self._exercise
        assembled = self._frame.assembled(program)
        seen = replay_blocks(assembled, self._timelines, len(exercise.scenarios))
        runs = findings(exercise, assembled, seen)
        short: dict[int, Status] = {
            n: each.status for n, each in enumerate(runs) if each.status is not Status.MET
        }
        short.update(dict.fromkeys(_structural(exercise, program), Status.NOT_MET))
        return short

    def breaks(self, program: Program, requirement: int, scenario: Scenario, scans: int) -> bool:
        """Return whether a program breaks a requirement within ``scans`` of one of the scenarios.

        Whether something else was broken before does not count.
        """
        assembled = self._frame.assembled(program)
        timeline = timeline_of((scenario,), assembled)
        longest = scans * self._exercise.period_ms
        violated = replay_block(assembled, timeline, longest)[0][:, 0]
        return any(
            violated[monitor] != NEVER
            for (number, _), monitor in assembled.monitor_numbers.items()
            if number == requirement
        )

    def _seen_early(self, assembled: Assembled) -> dict[int, Status]:
        """Return the complaints of the first look with a violation, else those of all runs."""
        exercise = self._exercise
        counts, n = counted_in_suite(exercise, assembled), len(assembled.monitors)
        exercised = np.zeros(n, np.bool_)
        code, scans = code_of(assembled.machine), LOOK_MS // exercise.period_ms
        for timeline, start in zip(self._timelines, count(step=LANES), strict=False):
            block = counts[:, start : start + LANES]
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


def _structural(exercise: Exercise, program: Program) -> Iterator[int]:
    view = exercise.view(program)
    for number, requirement in enumerate(exercise.requirements):
        for check in requirement.checks:
            if isinstance(check, ProgramCheck) and check.complaint(view):
                yield number
