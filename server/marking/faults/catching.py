"""What a suite finds wrong with a program, the short way: statuses without sentences or traces."""

from collections.abc import Callable, Iterable, Iterator, Set
from dataclasses import replace
from functools import cached_property
from itertools import count, repeat

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.check import ProgramCheck
from server.marking.exercise import Exercise
from server.marking.first_violations import (
    are_first,
    counted_in_suite,
    findings,
    tolerance_scans,
)
from server.marking.machine import Assembled, assemble, kept_frame
from server.marking.replay import LONGEST_MS, NEVER, monitor_planes, replay_block
from server.marking.scenario import Scenario, faults_in
from server.marking.timeline import suite_timelines, timeline_of
from server.marking.verdict import Status
from server.plant.loop import (
    NO_RECORD,
    Timeline,
    Watch,
    code_of,
    fresh_memory,
    fresh_progress,
    run,
    watch_planes,
)
from server.scan.lanes import LANES

LOOK_MS = 2000
"""Plant time between two looks at the monitors when the first violation is enough."""

FIRST_LOOK_MS = 1000
"""Plant time until the first look at whether a run is worth going on with."""


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
        faults = faults_in(exercise.scenarios)
        self._frame = kept_frame(exercise, faults)
        self._timelines = suite_timelines(exercise, faults)

    @cached_property
    def _counts(self) -> NDArray[np.bool_]:
        return counted_in_suite(self._exercise, self._frame.assembled(Program("none")))

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

    def complaints_while(
        self, program: Program, worthwhile: Callable[[Set[int]], bool]
    ) -> dict[int, Status] | None:
        """Return ``complaints``, or None once those that are sure are not ``worthwhile``."""
        exercise = self._exercise
        sure = set(_structural(exercise, program))
        if not worthwhile(sure):
            return None
        assembled, seen = self._frame.assembled(program), []
        for timeline, counts in self._counted_blocks():
            for watch in _looks(assembled, timeline, _doubled(FIRST_LOOK_MS)):
                lanes = watch.first_seen[:, : counts.shape[1]]
                sure |= _surely_broken(exercise, assembled, lanes, counts)
                if not worthwhile(sure):
                    return None
            seen.append(lanes)
        return self._found(program, assembled, np.concatenate(seen, axis=1))

    def _complaints(self, program: Program) -> dict[int, Status]:
        assembled = self._frame.assembled(program)
        seen = [
            watch.first_seen[:, : counts.shape[1]]
            for timeline, counts in self._counted_blocks()
            for watch in _looks(assembled, timeline, (LONGEST_MS,))
        ]
        return self._found(program, assembled, np.concatenate(seen, axis=1))

    def _found(
        self, program: Program, assembled: Assembled, seen: NDArray[np.int64]
    ) -> dict[int, Status]:
        """Return the complaints of a whole replay; ``seen`` is int64[monitor planes, scenarios]."""
        half = len(assembled.monitors)
        runs = findings(self._exercise, assembled, seen[:half], seen[half:], self._counts)
        short: dict[int, Status] = {
            n: each.status for n, each in enumerate(runs) if each.status is not Status.MET
        }
        short.update(dict.fromkeys(_structural(self._exercise, program), Status.NOT_MET))
        return short

    def _counted_blocks(self) -> Iterator[tuple[Timeline, NDArray[np.bool_]]]:
        """Yield each block's timelines, with where monitors count: bool[monitors, runs]."""
        for timeline, start in zip(self._timelines, count(step=LANES), strict=False):
            yield timeline, self._counts[:, start : start + LANES]

    def breaks(self, program: Program, requirement: int, scenario: Scenario, scans: int) -> bool:
        """Return whether a program breaks a requirement within ``scans`` of one of the scenarios.

        Whether something else was broken before does not count.
        """
        return _breaks(self._frame.assembled(program), requirement, scenario, scans)

    def _seen_early(self, assembled: Assembled) -> dict[int, Status]:
        """Return the complaints of the first look with a violation, else those of all runs."""
        exercise, n = self._exercise, len(assembled.monitors)
        exercised = np.zeros(n, np.bool_)
        for timeline, counts in self._counted_blocks():
            for watch in _looks(assembled, timeline, repeat(LOOK_MS)):
                seen = watch.first_seen[:, : counts.shape[1]]
                first = are_first(seen[:n], counts, tolerance_scans(exercise))
                if first.any():
                    broken = {
                        num for (num, _), m in assembled.monitor_numbers.items() if first[m].any()
                    }
                    return dict.fromkeys(sorted(broken), Status.NOT_MET)
            exercised |= ((seen[n:] != NEVER) & counts).any(axis=1)
        idle = {num for (num, _), m in assembled.monitor_numbers.items() if not exercised[m]}
        return dict.fromkeys(sorted(idle), Status.NOT_EXERCISED)


def breaks_beyond(
    exercise: Exercise, program: Program, requirement: int, scenario: Scenario, scans: int
) -> bool:
    """Return what ``Suite.breaks`` does, for a scenario that is not one of the suite's."""
    alone = replace(exercise, scenarios=(scenario,))
    return _breaks(assemble(alone, program), requirement, scenario, scans)


def _breaks(assembled: Assembled, requirement: int, scenario: Scenario, scans: int) -> bool:
    timeline = timeline_of((scenario,), assembled)
    longest = scans * assembled.machine.period_ms
    violated = replay_block(assembled, timeline, longest)[0][:, 0]
    return any(
        violated[monitor] != NEVER
        for (number, _), monitor in assembled.monitor_numbers.items()
        if number == requirement
    )


def _looks(assembled: Assembled, timeline: Timeline, every_ms: Iterable[int]) -> Iterator[Watch]:
    """Run a block to its end; yield what its monitors have seen after each so many milliseconds."""
    code, period = code_of(assembled.machine), assembled.machine.period_ms
    memory, progress = fresh_memory(assembled.machine), fresh_progress(timeline)
    watch = watch_planes(monitor_planes(assembled))
    left = LONGEST_MS // period
    for ms in every_ms:
        scans = min(left, ms // period)
        done = run(*(code, memory, timeline, progress, watch, NO_RECORD, assembled.running, scans))
        yield watch
        left -= done
        if done < scans or not left:
            return


def _doubled(ms: int) -> Iterator[int]:
    while True:
        yield ms
        ms *= 2


def _surely_broken(
    exercise: Exercise,
    assembled: Assembled,
    seen: NDArray[np.int64],
    counts: NDArray[np.bool_],
) -> set[int]:
    """Return requirements that were broken first in a run so far, and follow from no other."""
    n = len(assembled.monitors)
    first = are_first(seen[:n], counts, tolerance_scans(exercise))
    broken = np.logical_or.reduce(first, axis=1)
    return {
        number
        for (number, _), monitor in assembled.monitor_numbers.items()
        if broken[monitor] and not assembled.checks[monitor].follows
    }


def _structural(exercise: Exercise, program: Program) -> Iterator[int]:
    view = exercise.view(program)
    for number, requirement in enumerate(exercise.requirements):
        for check in requirement.checks:
            if isinstance(check, ProgramCheck) and check.complaint(view):
                yield number
