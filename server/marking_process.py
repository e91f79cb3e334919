"""Marking in a process of its own: one process runs one thread of Python at a time, and pages and
live trial runs come first.

The process ends by itself when this one is gone, however that came about.
"""

import logging
import os
import signal
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from threading import Lock

from sqlalchemy.exc import InterfaceError, OperationalError

MarkOne = Callable[[int], None]
"""Marks the submission with this id and stores the verdict."""

NICENESS = 5
"""How far the process steps back behind pages, in the units of the operating system."""

PATIENCE_SECONDS = 5.0

log = logging.getLogger(__name__)


class MarkingFailed(Exception):
    """Marking met a mistake of ours; the process has written it to the log."""


class NoDatabase(Exception):
    """The database gave no program or took no verdict; it may do so later."""


class MarkingProcess:
    """Marks one submission at a time; ``mark`` may be called from any thread.

    ``prepare`` is called in the process and gives what marks there; it has to be a function of a
    module, or a ``partial`` of one.
    """

    def __init__(self, prepare: Callable[[], MarkOne]) -> None:
        self._prepare = prepare
        self._lock = Lock()
        self._process: BaseProcess | None = None
        self._connection: Connection | None = None

    def start(self) -> None:
        """Begin to load what marking needs; the first ``mark`` would do it, too."""
        with self._lock:
            self._connected()

    def mark(self, submission_id: int) -> None:
        """Return once it is marked; after a process that died, a new one tries once more."""
        with self._lock:
            try:
                trouble = self._ask(submission_id)
            except (EOFError, OSError):
                self._end()
                trouble = self._ask(submission_id)
        if trouble is not None:
            raise trouble

    def close(self) -> None:
        with self._lock:
            self._end()

    def _ask(self, submission_id: int) -> Exception | None:
        connection = self._connected()
        connection.send(submission_id)
        trouble: Exception | None = connection.recv()
        return trouble

    def _connected(self) -> Connection:
        if self._connection is None:
            context = get_context("spawn")
            self._connection, there = context.Pipe()
            self._process = context.Process(
                target=_mark_until_alone, args=(there, self._prepare), name="marking", daemon=True
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


def _mark_until_alone(connection: Connection, prepare: Callable[[], MarkOne]) -> None:
    # Ctrl+C and a service manager tell every process; this one ends when it is asked no more.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    os.nice(NICENESS)
    mark = prepare()
    while True:
        try:
            submission_id = connection.recv()
        except EOFError:
            return
        answer: Exception | None = None
        try:
            mark(submission_id)
        except (OperationalError, InterfaceError):
            answer = NoDatabase()
        except Exception:
            log.exception("submission %d could not be marked", submission_id)
            answer = MarkingFailed()
        try:
            connection.send(answer)
        except OSError:
            return
