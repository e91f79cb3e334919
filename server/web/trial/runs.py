"""The live trial runs of this process: one clock that serves them all, and who looks at them.

A run belongs to one person and one assignment. Its plant keeps its own time, however slow a
browser is: a viewer who has not taken the last frame gets none meanwhile, and then the newest.

What a run does from frame to frame happens in the event loop and takes some microseconds for a
scan. What may take longer (to begin a run, to go back, to explain) happens in one of a few threads
(``Runs.apart``), while the run is ``busy``: its clock and its frames wait.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import ParamSpec, TypeVar

from anyio.to_thread import current_default_thread_limiter
from sqlalchemy.exc import DBAPIError

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.scenario import Turn
from server.marking.trial.trial import LONGEST_SCANS, Recorded, TrialRun
from server.store.claims import Claims
from server.web.trial.limits import Doorkeeper
from server.web.trial.screen import Screen, Viewer

log = logging.getLogger(__name__)

FRAME_SECONDS = 0.05
"""From frame to frame: 20 a second at most."""

LONGEST_FRAME = 0.2
"""From frame to frame when the server has too much to do."""

SLOW_ROUND = 1.2
"""A round that takes so many times what it should tells that it has."""

MANY_WAITING = 4
"""Requests that wait for a thread."""

SLOTS = 10
"""The runs take turns within a frame, so that the load is even."""

LATE_SECONDS = 1.0
"""Plant time that an overloaded server catches up; what is more is left out."""

UNWATCHED_SECONDS = 60.0
"""After this long without a viewer a run ends; its record is kept."""

SAVE_SECONDS = 5.0
"""How often the record of a run that changes is stored."""

NOT_SAVED = (0, 0, 0)
"""The mark of a run of which nothing is stored; there is nothing to store before the first scan."""

RUNS_OF_ONE = 3
RUNS_OF_ALL = 200

SPEEDS = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
"""Plant seconds in a second."""

CATCH_UP_SCANS = 2000
"""Scans of a recorded run that are repeated in one turn, until it is where it was."""

TURN_SECONDS = 0.02
"""A turn ends after this long; what is still due is done in the next ones."""

SCANS_AT_ONCE = 100
"""Scans from one look at the clock to the next."""

BREATH_SECONDS = 0.005
"""The turns of several runs make room for everything else on the event loop after this long."""

THREADS = 2
"""Threads for the long work of all runs together. The event loop has to share the interpreter with
each of them."""


def next_period(period: float, took: float, waiting: int) -> float:
    """Return seconds from frame to frame after a round of ``period`` that took so long.

    A server with too much to do shows fewer frames before plants lose time, and before so many
    requests are left ``waiting`` for a thread.
    """
    slower = took > SLOW_ROUND * period or waiting > MANY_WAITING
    return min(max(period * (1.5 if slower else 0.9), FRAME_SECONDS), LONGEST_FRAME)


class NoRoom(Exception):
    """One more run is not possible now; the text says why and what to do."""


ELSEWHERE = (
    "This run goes on in another process of the server, where a window of yours has it open. Close "
    "that window, wait a minute, then open this page again. If you have none open, tell whoever "
    "runs the server: its proxy must send one visitor always to the same process."
)

Key = tuple[int, int]
"""Assignment and user."""

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(eq=False)
class LiveTrial:
    """One live run with its clock and its viewers."""

    key: Key
    run: TrialRun
    screen: Screen
    catching_up: int = 0
    exchanges: int = 0
    running: bool = False
    speed: float = 1.0
    viewers: set[Viewer] = field(default_factory=set)
    unwatched_since: float = field(default_factory=monotonic)
    saved_at: float = field(default_factory=monotonic)
    saved: tuple[int, int, int] = NOT_SAVED
    busy: asyncio.Lock = field(default_factory=asyncio.Lock)
    clock: Callable[[], float] = monotonic
    _anchor: tuple[float, int] = (0.0, 0)

    @property
    def exercise(self) -> Exercise:
        return self.run.exercise

    @property
    def changed(self) -> bool:
        """Whether something happened since the record was stored."""
        return self.saved != self._mark()

    @property
    def repeats(self) -> bool:
        """Whether a recorded run still happens again, up to where it was."""
        return self.catching_up > self.run.scan

    def mark_saved(self, now: float) -> None:
        self.saved, self.saved_at = self._mark(), now

    def _mark(self) -> tuple[int, int, int]:
        return len(self.run.recorded().events), self.run.scan, self.exchanges

    def go(self, now: float) -> None:
        """Let the plant run from now on."""
        self.screen.look(None)
        self.running = self.run.scan < LONGEST_SCANS
        self._anchor = now, self.run.scan

    def hold(self) -> None:
        self.running = False

    def branch(self, scan: int) -> None:
        """Forget what came after a past moment."""
        self.run.branch(scan)
        self.screen.refresh()

    def exchange(self, program: Program) -> None:
        """Go on with another version of the program."""
        self.run.exchange(program)
        self.exchanges += 1
        self.screen.take_over()

    def at_speed(self, speed: float, now: float) -> None:
        self.speed = speed
        self._anchor = now, self.run.scan

    def turn(self, now: float) -> bool:
        """Run what is due; whether something is new on the screen."""
        if self.repeats:
            self._step(min(CATCH_UP_SCANS, self.catching_up - self.run.scan))
            if self.run.scan >= self.catching_up:
                self.screen.chart = object()
            return True
        if not self.running:
            return False
        per_second = self.speed * 1000 / self.exercise.period_ms
        since, scan = self._anchor
        # A clock in binary fractions must not lose a scan that is due just now.
        due = int((now - since) * per_second + 1e-6) - (self.run.scan - scan)
        most = max(1, int(LATE_SECONDS * per_second))
        if due > most:
            due = most
            self._anchor = now, self.run.scan + due
        if due > 0:
            self._step(due)
        if self.run.scan >= LONGEST_SCANS:
            self.running = False
        return due > 0

    def _step(self, scans: int) -> None:
        """Run scans, or as many as a turn has time for."""
        end = min(self.run.scan + scans, LONGEST_SCANS)
        until = self.clock() + TURN_SECONDS
        while self.run.scan < end:
            self.screen.step(min(end - self.run.scan, SCANS_AT_ONCE))
            if self.clock() > until:
                break


class Runs:
    """All runs of the process. ``start`` and ``stop`` go with the application.

    ``store`` is called with the records of some runs, in a thread. ``claims`` keep other processes
    from the same run.
    """

    def __init__(
        self, store: Callable[[Mapping[Key, Recorded]], None], claims: Claims | None = None
    ) -> None:
        self._store = store
        self._claims = claims
        self._trials: dict[Key, LiveTrial] = {}
        self._slots: list[set[LiveTrial]] = [set() for _ in range(SLOTS)]
        self._any = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._warm = False
        self._threads = ThreadPoolExecutor(THREADS, "trial runs")
        self._repeating: set[asyncio.Task[None]] = set()
        self.doorkeeper = Doorkeeper()

    async def apart(self, work: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Do what may take long in a thread. What concerns one run waits for its ``busy``."""
        call = partial(work, *args, **kwargs)
        working = asyncio.get_running_loop().run_in_executor(self._threads, call)
        try:
            return await asyncio.shield(working)
        except asyncio.CancelledError:
            # A thread can't be stopped: the run stays busy until it has ended.
            await asyncio.wait([working])
            raise

    def __iter__(self) -> Iterator[LiveTrial]:
        return iter(list(self._trials.values()))

    def find(self, key: Key) -> LiveTrial | None:
        return self._trials.get(key)

    async def open(self, key: Key, exercise: Exercise, recorded: Recorded) -> LiveTrial:
        """Return the run of this key; a new one begins with a recorded run. Raises NoRoom."""
        if key not in self._trials:
            self._require_room(key)
            if self._claims and not await asyncio.to_thread(self._claims.take, key):
                raise NoRoom(ELSEWHERE)
            try:
                trial = await self.apart(self._begin, key, exercise, recorded)
                if key not in self._trials:
                    self._require_room(key)
                    self._trials[key] = trial
                    min(self._slots, key=len).add(trial)
                    self._any.set()
            finally:
                await self._release(key)
        return self._trials[key]

    async def replace(self, key: Key, recorded: Recorded, until: int | None = None) -> None:
        """Let a run begin anew from another record; its viewers stay.

        It happens again at once up to a scan, or to its end; the rest as the run goes on.
        """
        exercise = self._trials[key].exercise
        trial = await self.apart(self._begin, key, exercise, recorded)
        if until is not None:
            trial.catching_up = until
        old = self._trials.get(key)
        if old is not None:
            trial.viewers, trial.busy = old.viewers, old.busy
            self._trials[key] = trial
            for slot in self._slots:
                if old in slot:
                    slot.remove(old)
                    slot.add(trial)

    def _require_room(self, key: Key) -> None:
        _, user = key
        if sum(user == other for _, other in self._trials) >= RUNS_OF_ONE:
            raise NoRoom(
                f"You have {RUNS_OF_ONE} trial runs open already. Close one of their windows and "
                "wait a minute, then open this page again."
            )
        if len(self._trials) >= RUNS_OF_ALL:
            raise NoRoom(
                f"All {RUNS_OF_ALL} places for trial runs are taken. Try again in a few minutes; "
                "what you have saved is kept."
            )

    def _begin(self, key: Key, exercise: Exercise, recorded: Recorded) -> LiveTrial:
        if not self._warm:
            # The kernel is compiled, or fetched from its cache, when it is first used.
            trying = TrialRun(exercise, recorded.program)
            trying.act(Turn("power", True))
            trying.step(1)
            self._warm = True
        run = TrialRun.load(exercise, recorded)
        return LiveTrial(key, run, Screen(run), catching_up=recorded.scans)

    async def close(self, trial: LiveTrial) -> None:
        """End a run; its record is stored."""
        self._trials.pop(trial.key, None)
        if not self._trials:
            self._any.clear()
        for slot in self._slots:
            slot.discard(trial)
        await self.save(trial)
        await self._release(trial.key)

    async def _release(self, key: Key) -> None:
        if self._claims and key not in self._trials:
            await asyncio.to_thread(self._claims.release, key)

    async def save(self, *trials: LiveTrial) -> None:
        """Store the records of those in which something has happened, all at once."""
        changed = []
        records = {}
        for trial in trials:
            async with trial.busy:
                if trial.changed:
                    changed.append(trial)
                    records[trial.key] = trial.run.recorded()
                    trial.mark_saved(monotonic())
        if not changed:
            return
        try:
            await asyncio.to_thread(self._store, records)
        except DBAPIError:
            log.warning("records of %d trial runs were not stored; it is tried again", len(changed))
            for trial in changed:
                trial.saved = NOT_SAVED

    # -- the clock ------------------------------------------------------------------------------

    def start(self) -> None:
        self._tasks = [
            asyncio.create_task(self._tick(), name="trial runs"),
            asyncio.create_task(self._clean_up(), name="records of trial runs"),
        ]

    async def stop(self) -> None:
        """Stop the clock; every record is stored."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._tasks = []
        await self.save(*self)
        for trial in self:
            await self.close(trial)
        if self._claims:
            self._claims.close()
        self._threads.shutdown(wait=False)

    async def _tick(self) -> None:
        slot, due = 0, monotonic()
        round_began = due
        period = FRAME_SECONDS
        while True:
            await self._any.wait()
            breath = monotonic()
            for trial in list(self._slots[slot]):
                await self._turn(trial)
                if monotonic() - breath > BREATH_SECONDS:
                    await asyncio.sleep(0)
                    breath = monotonic()
            slot = (slot + 1) % SLOTS
            due = max(due + period / SLOTS, monotonic() - period)
            await asyncio.sleep(max(0.0, due - monotonic()))
            if slot == 0:
                took, round_began = monotonic() - round_began, monotonic()
                waiting = current_default_thread_limiter().statistics().tasks_waiting
                period = next_period(period, took, waiting)

    async def _turn(self, trial: LiveTrial) -> None:
        if trial.busy.locked():
            return
        if trial.repeats:
            # Another version of the program may take over on the way, which takes long.
            task = asyncio.create_task(self._repeat(trial))
            self._repeating.add(task)
            task.add_done_callback(self._repeating.discard)
            return
        async with self._contained(trial):
            if trial.turn(monotonic()):
                trial.screen.wake(trial.viewers)

    async def _repeat(self, trial: LiveTrial) -> None:
        async with self._contained(trial), trial.busy:
            await self.apart(trial.turn, monotonic())
            trial.screen.wake(trial.viewers)

    @asynccontextmanager
    async def _contained(self, trial: LiveTrial) -> AsyncIterator[None]:
        """End a run that fails in the block: it must not stop the clock of all others."""
        try:
            yield
        except Exception:
            log.exception("trial run %s has ended", trial.key)
            await self.close(trial)
            trial.screen.wake(trial.viewers)

    async def _clean_up(self) -> None:
        # Beside the clock, which must not wait for the database.
        while True:
            await asyncio.sleep(1.0)
            await self.tidy(monotonic())

    async def tidy(self, now: float) -> None:
        """Store what has changed for a while, end what nobody has watched for long."""
        for trial in self:
            if trial.viewers:
                trial.unwatched_since = now
            elif now - trial.unwatched_since > UNWATCHED_SECONDS:
                await self.close(trial)
        due = (trial for trial in self if now - trial.saved_at > SAVE_SECONDS)
        # One that is busy has its turn at the next tidying; the others do not wait for it.
        await self.save(*(trial for trial in due if not trial.busy.locked()))
