"""Marking in a process of its own: one process runs one thread of Python at a time, and pages and
live trial runs come first.

The process ends by itself when this one is gone, however that came about.
"""

import os
import pickle
import signal
from collections.abc import Callable
from functools import lru_cache
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from threading import Lock
from traceback import format_exc

from server.ladder.program import Program
from server.marking import marking
from server.marking.exercise import Exercise
from server.marking.verdict import Verdict

Mark = Callable[[Exercise, Program], Verdict]

NICENESS = 5
"""How far the process steps back behind pages, in the units of the operating system."""

DRAWS_KEPT = 64
"""Exercises that the process keeps ready: several, each with the numbers of some students."""

PATIENCE_SECONDS = 5.0


class MarkingFailed(Exception):
    """Marking met a mistake of ours; the text is the other process's account of it."""


class MarkingProcess:
    """Marks one program at a time; ``mark`` may be called from any thread."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._process: BaseProcess | None = None
        self._connection: Connection | None = None

    def start(self) -> None:
        """Begin to load what marking needs; the first ``mark`` would do it, too."""
        with self._lock:
            self._connected()

    def mark(self, exercise: Exercise, program: Program) -> Verdict:
        """The full verdict; after a process that died, a new one tries once more."""
        task = (pickle.dumps(exercise), program)
        with self._lock:
            try:
                answer = self._ask(task)
            except (EOFError, OSError):
                self._end()
                answer = self._ask(task)
        if isinstance(answer, str):
            raise MarkingFailed(answer)
        return answer

    def close(self) -> None:
        with self._lock:
            self._end()

    def _ask(self, task: object) -> Verdict | str:
        connection = self._connected()
        connection.send(task)
        answer: Verdict | str = connection.recv()
        return answer

    def _connected(self) -> Connection:
        if self._connection is None:
            context = get_context("spawn")
            self._connection, there = context.Pipe()
            self._process = context.Process(
                target=_mark_until_alone, args=(there,), name="marking", daemon=True
            )
            self._process.start()
            # The other end is the process's alone, so that its death is seen here.
            there.close()
        return self._connection

    def _end(self) -> None:
        if self._connection is not None and self._process is not None:
            self._connection.close()
            self._process.join(PATIENCE_SECONDS)
            self._process.kill()
        self._connection = self._process = None


def _mark_until_alone(connection: Connection) -> None:
    # Ctrl+C and a service manager tell every process; this one ends when it is asked no more.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    os.nice(NICENESS)
    exercise_of = lru_cache(DRAWS_KEPT)(pickle.loads)
    while True:
        try:
            exercise, program = connection.recv()
        except EOFError:
            return
        try:
            answer: Verdict | str = marking.mark(exercise_of(exercise), program)
        except Exception:
            answer = format_exc()
        try:
            connection.send(answer)
        except OSError:
            return
