"""Which violations count: in one run only what is violated first; the rest may follow from it.

What follows within the exercise's tolerance counts as first, too: two checks of one moment may see
it some scans apart. Where one mistake shows in two requirements in different runs, a check can say
from which requirement its violations follow.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.marking.check import Check, Pattern
from server.marking.exercise import Exercise, Requirement
from server.marking.machine import Assembled
from server.marking.replay import NEVER
from server.marking.scenario import Scenario, faults_in
from server.marking.verdict import Status


@dataclass(frozen=True, slots=True)
class Failure:
    """A violated check: monitor number, scenario number, scan of the first violation."""

    check: Pattern
    monitor: int
    scenario: int
    scan: int


@dataclass(frozen=True, slots=True)
class SuiteFinding:
    """What the runs of the suite say of one requirement's patterns.

    ``failure`` is the violation to show, one that was first in its run. ``after`` has the other
    requirements that had been broken before, in each run in which this one was broken later.
    ``follows`` has the broken requirements that violated checks of this one say they follow from.
    ``held`` are the scenarios that brought a check to bear and in which it was not violated;
    ``idle`` is a check that has none.
    """

    status: Status
    failure: Failure | None = None
    after: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    held: frozenset[int] = frozenset()
    idle: Pattern | None = None


def are_first(
    violated: NDArray[np.int64],
    counts: NDArray[np.bool_],
    tolerance: int,
) -> NDArray[np.bool_]:
    """Return for each monitor and run whether it was violated, and first.

    ``violated`` is int64[monitors, runs] with the scan or ``NEVER``, ``counts`` bool[monitors,
    runs] says where a monitor counts, ``tolerance`` is in scans.
    """
    when = np.where(counts, violated, NEVER)
    earliest = when.min(axis=0, initial=NEVER)
    first: NDArray[np.bool_] = (when != NEVER) & (when <= earliest + tolerance)
    return first


def tolerance_scans(exercise: Exercise) -> int:
    """Return the exercise's tolerance in whole scans."""
    return exercise.tolerance_ms // exercise.period_ms


def scenarios_of(exercise: Exercise, number: int, check: Check) -> list[int]:
    """Return the scenarios in which a check of a requirement counts."""
    name = exercise.requirements[number].id
    return [
        lane
        for lane, scenario in enumerate(exercise.scenarios)
        if (not scenario.judges or name in scenario.judges)
        and (not check.scenarios or scenario.name in check.scenarios)
    ]


def counted_in_suite(exercise: Exercise, assembled: Assembled) -> NDArray[np.bool_]:
    """Return bool[monitors, scenarios]: where each monitor counts."""
    counts = np.zeros((len(assembled.monitors), len(exercise.scenarios)), np.bool_)
    for (number, _), monitor in assembled.monitor_numbers.items():
        counts[monitor, scenarios_of(exercise, number, assembled.checks[monitor])] = True
    return counts


def counted_beyond(
    exercise: Exercise, assembled: Assembled, scenarios: Sequence[Scenario]
) -> NDArray[np.bool_]:
    """Return bool[monitors, runs] for runs that are none of the suite's.

    A check counts there unless it is limited to scenarios by name; a run with faults counts for the
    requirements that the suite judges with all of these faults.
    """
    counts = np.zeros((len(assembled.monitors), len(scenarios)), np.bool_)
    faults = [faults_in([scenario]) for scenario in scenarios]
    for (number, _), monitor in assembled.monitor_numbers.items():
        if not assembled.checks[monitor].scenarios:
            allowed = faults_in(exercise.scenarios_judging(number))
            counts[monitor] = [own <= allowed for own in faults]
    return counts


def first_beyond(
    exercise: Exercise,
    assembled: Assembled,
    scenarios: Sequence[Scenario],
    violated: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Return ``are_first`` for runs that are none of the suite's."""
    counts = counted_beyond(exercise, assembled, scenarios)
    return are_first(violated, counts, tolerance_scans(exercise))


def findings(
    exercise: Exercise,
    assembled: Assembled,
    violated: NDArray[np.int64],
    exercised: NDArray[np.int64],
    counts: NDArray[np.bool_] | None = None,
) -> tuple[SuiteFinding, ...]:
    """Return what a replay of the whole suite says of each requirement.

    ``violated`` and ``exercised`` are those of ``Replay``; ``counts`` is ``counted_in_suite``, if
    it is there already.
    """
    if counts is None:
        counts = counted_in_suite(exercise, assembled)
    following = _following(exercise, assembled, violated, counts)
    judged = counts.copy()
    judged[list(following)] = False
    first = are_first(violated, judged, tolerance_scans(exercise))
    later = (violated != NEVER) & judged & ~first
    held = (exercised != NEVER) & (violated == NEVER) & counts
    fails, late, holds = (np.logical_or.reduce(each, axis=1) for each in (first, later, held))
    found = []
    for number, requirement in enumerate(exercise.requirements):
        patterns = list(monitors_of(requirement, assembled, number))
        own = [monitor for _, monitor in patterns]
        failures = [
            Failure(check, monitor, int(lane), int(violated[monitor, lane]))
            for check, monitor in patterns
            if fails[monitor]
            for lane in np.flatnonzero(first[monitor])
        ]
        idle = next((check for check, monitor in patterns if not holds[monitor]), None)
        after = np.any(later[own], axis=0) if late[own].any() else None
        status = Status.MET if idle is None else Status.NOT_EXERCISED
        found.append(
            SuiteFinding(
                status=Status.NOT_MET if failures else status,
                failure=min(
                    failures,
                    key=lambda f: (not exercise.scenarios[f.scenario].open, f.scenario, f.scan),
                    default=None,
                ),
                after=ids_of(exercise, assembled, first[:, after]) if after is not None else (),
                follows=tuple(sorted(set().union(*(following.get(m, ()) for m in own)))),
                held=frozenset(np.flatnonzero(held[own].any(axis=0)).tolist()),
                idle=idle,
            )
        )
    return tuple(found)


def _following(
    exercise: Exercise,
    assembled: Assembled,
    violated: NDArray[np.int64],
    counts: NDArray[np.bool_],
) -> dict[int, frozenset[str]]:
    """Return the violated monitors that follow from broken requirements, with these."""
    follows = {
        monitor: frozenset(assembled.checks[monitor].follows)
        for monitor in assembled.monitor_numbers.values()
        if assembled.checks[monitor].follows
    }
    alone = counts.copy()
    alone[list(follows)] = False
    first = are_first(violated, alone, tolerance_scans(exercise))
    broken = set(ids_of(exercise, assembled, first))
    seen = ((violated != NEVER) & counts).any(axis=1)
    return {m: ids & broken for m, ids in follows.items() if ids & broken and seen[m]}


def monitors_of(
    requirement: Requirement, assembled: Assembled, number: int
) -> Iterator[tuple[Pattern, int]]:
    """Yield the patterns of requirement ``number`` with their monitors' numbers."""
    for index, check in enumerate(requirement.checks):
        if isinstance(check, Pattern):
            yield check, assembled.monitor_numbers[number, index]


def ids_of(exercise: Exercise, assembled: Assembled, first: NDArray[np.bool_]) -> tuple[str, ...]:
    """Return the requirements with a mark in ``first``, bool[monitors, runs], in their order."""
    seen = np.logical_or.reduce(first, axis=1)
    marked = {number for (number, _), monitor in assembled.monitor_numbers.items() if seen[monitor]}
    return tuple(exercise.requirements[number].id for number in sorted(marked))
