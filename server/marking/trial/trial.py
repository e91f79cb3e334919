"""A trial run: a program on its plant, scan by scan, worked by hand and recorded.

What is recorded are the actions and the versions of the program, each before a scan; everything
else follows by running again. Every two seconds or so a moment is kept, so that any scan is near.
The core has no clock: whoever owns the run says how many scans to run and when.
"""

from bisect import bisect_right
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.causes.cause import Reason, why
from server.marking.causes.history import History, history_of, planes_to_record
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.scenario import Action, Scenario, Step, Turn
from server.marking.trial.handover import hand_over
from server.marking.trial.live import Live, Moment
from server.plant.loop import NO_RECORD, Record, record_signals

SPACING = 200
"""Scans between kept moments."""

LONGEST_SCANS = 360_000
"""A run ends there: an hour at a scan period of 10 ms."""

LOOK_BACK = 30_000
"""How many scans an explanation looks back at most: five minutes at 10 ms."""

STRETCH = 1000
"""Scans that are repeated in one go."""

KEPT_MACHINES = 3
"""Machines of different versions that one run holds."""

Event: TypeAlias = Action | Program
"""What happened before a scan: an action, or another version of the program took over."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A run as it is saved: the program it began with, what happened, and how long it was."""

    program: Program
    events: tuple[tuple[int, Event], ...]
    scans: int

    def on(self, program: Program) -> "Recorded":
        """Return the same actions on another program from the start."""
        actions = tuple((s, e) for s, e in self.events if not isinstance(e, Program))
        return Recorded(program, actions, self.scans)


@dataclass(frozen=True, slots=True)
class _Kept:
    """A moment, how many events came before it, and which version of the program it is of."""

    moment: Moment
    events: int
    version: int


class TrialRun:
    """One run. ``scan`` is the number of the next scan, which is how many were run.

    With ``script`` a recorded run happens again, event by event, as this one is stepped.
    """

    def __init__(self, exercise: Exercise, program: Program, script: Recorded | None = None):
        self.exercise = exercise
        self._versions: list[Program] = [program]
        self._assembled: dict[int, Assembled] = {}
        self._events: list[tuple[int, Event]] = []
        self._script = deque(script.events if script else ())
        self._script_end = script.scans if script else 0
        self._live = Live(self._assembled_version(0))
        self._kept = [_Kept(self._live.moment(), 0, 0)]
        self._happen()

    @classmethod
    def load(cls, exercise: Exercise, recorded: Recorded) -> "TrialRun":
        """Return a recorded run, to be stepped through once more."""
        return cls(exercise, recorded.program, recorded)

    @property
    def scan(self) -> int:
        return self._live.scan

    @property
    def program(self) -> Program:
        """The version that runs now."""
        return self._versions[-1]

    @property
    def live(self) -> Live:
        """The machine as it stands now."""
        return self._live

    @property
    def events(self) -> int:
        """How many actions and versions are recorded."""
        return len(self._events)

    @property
    def versions(self) -> int:
        """How many versions of the program have run."""
        return len(self._versions)

    @property
    def takeovers(self) -> list[int]:
        """The scans before which another version of the program took over."""
        return [scan for scan, event in self._events if isinstance(event, Program)]

    @property
    def to_come(self) -> int:
        """Scans until a recorded run that happens again has come to its end; 0 without one."""
        return max(0, self._script_end - self.scan)

    # -- going on -------------------------------------------------------------------------------

    def act(self, *actions: Action) -> None:
        """Work the panel or the plant by hand before the next scan.

        A press that ends before the program has seen it lasts for one scan.
        """
        for action in actions:
            if isinstance(action, Turn) and action.control.startswith("panel."):
                release = self.scan + 1, replace(action, on=False)
                if action.on:
                    self._script = deque(event for event in self._script if event != release)
                elif (self.scan, replace(action, on=True)) in self._events[-8:]:
                    self._script = deque(sorted([release, *self._script], key=lambda e: e[0]))
                    continue
            self._take(action)

    def _take(self, action: Action) -> None:
        self._live.act([action])
        self._events.append((self.scan, action))

    def exchange(self, program: Program) -> None:
        """Go on with another version of the program from the present state of the plant.

        A version that has not run a scan yet is forgotten: several changes between two scans are
        one, and one that is taken back leaves no trace.
        """
        if self._events and self._events[-1] == (self.scan, self.program):
            self._take_back_exchange()
        if program != self.program:
            self._exchange(program)

    def _exchange(self, program: Program) -> None:
        number = len(self._versions)
        old = self._versions[-1]
        self._versions.append(program)
        new = Live(self._assembled_version(number))
        hand_over(self._live, old, new, program, self._before_last_scan())
        self._live = new
        self._events.append((self.scan, program))
        self._kept.append(_Kept(new.moment(), len(self._events), number))

    def _take_back_exchange(self) -> None:
        """Let the version before run again that the newest one followed before this scan."""
        del self._events[-1], self._versions[-1], self._kept[-1]
        self._assembled.pop(len(self._versions), None)
        kept, scan = self._kept[-1], self.scan
        self._live = Live(self._assembled_version(kept.version))
        self._replay(self._live, kept, scan)
        self._live.act(self._actions_at(scan, kept))

    def _actions_at(self, scan: int, kept: _Kept) -> list[Action]:
        """Return the actions before a scan that a kept moment does not have yet."""
        events = self._events[kept.events :]
        return [e for s, e in events if s == scan and not isinstance(e, Program)]

    def step(self, scans: int, planes: Sequence[int] = ()) -> NDArray[np.bool_]:
        """Run scans; returns lane 0 of the given planes after each, bool[scans, planes].

        Fewer are run at the end of the longest run, and up to a recorded change of the program,
        which then has taken place: planes are those of one version.
        """
        end = min(self.scan + scans, LONGEST_SCANS, self._next_version())
        record = record_signals(list(planes), [], 0, max(0, end - self.scan))
        first = self.scan
        while self.scan < end:
            stop = min(end, (self.scan // SPACING + 1) * SPACING, self._next_event())
            self._live.run(stop - self.scan, _rest(record, self.scan - first))
            if self.scan % SPACING == 0:
                self._keep()
            self._happen()
        lane: NDArray[np.bool_] = (record.bits & np.uint64(1)).astype(np.bool_)
        return lane

    def _happen(self) -> None:
        """Let the recorded events of this scan happen again."""
        while self._script and self._script[0][0] <= self.scan:
            _, event = self._script.popleft()
            if isinstance(event, Program):
                self._exchange(event)
            else:
                self._take(event)

    def _next_event(self) -> int:
        return self._script[0][0] if self._script else LONGEST_SCANS

    def _next_version(self) -> int:
        changes = (scan for scan, event in self._script if isinstance(event, Program))
        return next(changes, LONGEST_SCANS)

    def _keep(self) -> None:
        version = len(self._versions) - 1
        self._kept.append(_Kept(self._live.moment(), len(self._events), version))

    # -- looking back ---------------------------------------------------------------------------

    def at(self, scan: int) -> tuple[Live, Program]:
        """Return a machine as it stood before a scan, and the program's version that ran then."""
        kept = self._kept_before(scan)
        live = Live(self._assembled_version(kept.version))
        self._replay(live, kept, scan)
        return live, self._versions[kept.version]

    def program_at(self, scan: int) -> Program:
        """Return the version of the program that ran at a scan."""
        return self._versions[self._kept_before(scan).version]

    def _before_last_scan(self) -> Live | None:
        """Return the present version's machine as its last scan began.

        None before it has run one.
        """
        scan = self.scan - 1
        kept = self._kept_before(scan)
        if scan < 0 or kept.version != self._kept[-1].version:
            return None
        live, _ = self.at(scan)
        live.act([e for s, e in self._events if s == scan and not isinstance(e, Program)])
        return live

    def branch(self, scan: int) -> None:
        """Forget what came after a past moment and go on from there."""
        kept = self._kept_before(scan)
        del self._kept[self._kept.index(kept) + 1 :]
        del self._versions[kept.version + 1 :]
        for version in [v for v in self._assembled if v > kept.version]:
            del self._assembled[version]
        later = self._events_from(scan)
        del self._events[max(kept.events, later) :]
        self._script.clear()
        self._script_end = 0
        self._live = Live(self._assembled_version(kept.version))
        self._replay(self._live, kept, scan)

    def record(self, first: int, last: int, planes: Sequence[int], rows: Sequence[int]) -> Record:
        """Return planes and quantities after each of the scans [first, last) of one version."""
        kept = self._kept_before(first)
        live = Live(self._assembled_version(kept.version))
        self._replay(live, kept, first)
        record = record_signals(list(planes), list(rows), 0, last - first)
        events = max(kept.events, self._events_from(first))
        self._replay(live, replace(kept, moment=live.moment(), events=events), last, record)
        return record

    def version_bounds(self, scan: int) -> tuple[int, int]:
        """Return the scans [first, last) that the version at a scan ran."""
        version = self._kept_before(scan).version
        firsts = [k.moment.scan for k in self._kept if k.version == version]
        others = [k.moment.scan for k in self._kept if k.version == version + 1]
        return firsts[0], others[0] if others else self.scan

    def why(self, signal: str, scan: int) -> tuple[Reason, ...]:
        """Why a variable of the program has its value at the end of a scan that was run."""
        return why(self.program_at(scan), self.history(scan), signal, scan, self.exercise.points)

    def history(self, scan: int) -> History:
        """Return what the version at a scan did up to its end, as far as causes look back."""
        version = self._kept_before(scan).version
        began, _ = self.version_bounds(scan)
        first = max(began, scan + 1 - LOOK_BACK)
        assembled = self._assembled_version(version)
        supply = assembled.plane("power")
        planes = planes_to_record(assembled.program, supply)
        before = self.at(first)[0].memory.bits[planes] & np.uint64(1)
        record = self.record(first, scan + 1, planes, [])
        return history_of(
            assembled.program,
            supply,
            planes,
            (record.bits & np.uint64(1)).astype(np.bool_),
            assembled.machine.period_ms,
            before.astype(np.bool_),
            first,
        )

    def _kept_before(self, scan: int) -> _Kept:
        """Return the last kept moment that is not after a scan."""
        number = bisect_right(self._kept, scan, key=lambda kept: kept.moment.scan)
        return self._kept[max(0, number - 1)]

    def _events_from(self, scan: int) -> int:
        """Return how many events came before a scan."""
        return bisect_right(self._events, scan - 1, key=lambda event: event[0])

    def _replay(self, live: Live, kept: _Kept, last: int, record: Record = NO_RECORD) -> None:
        """Bring a machine from a kept moment to the state before scan ``last``."""
        live.restore(kept.moment)
        first = live.scan
        for scan, event in (*self._events[kept.events :], (last, None)):
            while live.scan < min(scan, last):
                # Short stretches, so that another thread gets its turn between them.
                scans = min(min(scan, last) - live.scan, STRETCH)
                live.run(scans, _rest(record, live.scan - first))
            if event is None or isinstance(event, Program) or scan >= last:
                break
            live.act([event])

    def _assembled_version(self, number: int) -> Assembled:
        """Return the machine of a version; a few are kept."""
        if number not in self._assembled:
            for old in sorted(self._assembled)[: -KEPT_MACHINES + 1]:
                del self._assembled[old]
            program = self._versions[number]
            self._assembled[number] = assemble(self.exercise, program, observe=True)
        return self._assembled[number]

    # -- handing on -----------------------------------------------------------------------------

    def recorded(self) -> Recorded:
        """Return the run as it may be saved; with a script also what was still to come."""
        events = (*self._events, *self._script)
        return Recorded(self._versions[0], events, max(self.scan, self._script_end))

    def scenario(self, name: str) -> Scenario:
        """Return the run as a scenario: its actions with their times, on any program."""
        period = self.exercise.period_ms
        together: dict[int, list[Action]] = {}
        for scan, event in self._events:
            if not isinstance(event, Program):
                together.setdefault(scan, []).append(event)
        steps, last = [], 0
        for scan, actions in together.items():
            steps.append(Step(tuple(actions), (scan - last) * period))
            last = scan
        return Scenario(name, tuple(steps), run_on_ms=(self.scan - last) * period)


def _rest(record: Record, done: int) -> Record:
    """Return the part of a record that is still empty."""
    return record._replace(bits=record.bits[done:], values=record.values[done:])
