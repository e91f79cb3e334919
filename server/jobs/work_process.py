"""Mark, and read what authors write, in a process of its own within a bound of processor time.

One process runs one thread of Python at a time, and pages and live trial runs come first.

The process ends by itself when this one is gone, however that came about.
"""

import logging
import os
import resource
import signal
from collections.abc import Callable
from math import ceil
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from threading import Lock
from time import process_time
from typing import Generic, TypeVar

from sqlalchemy.exc import InterfaceError, OperationalError

Question = TypeVar("Question")
Answer = TypeVar("Answer")

NICENESS = 5
"""How far the process steps back behind pages, in the units of the operating system."""

PATIENCE_SECONDS = 5.0

log = logging.getLogger(__name__)


class WorkFailed(Exception):
    """The work met an error of ours; the process has written it to the log."""


class NoDatabase(Exception):
    """The database did not answer the process; it may do so later."""


class PastDeadline(Exception):
    """The work took more processor time than one piece of work may take."""


class Busy(Exception):
    """The questions before took longer than this one could wait."""


class WorkProcess(Generic[Question, Answer]):
    """Do one piece of work at a time; ``ask`` may be called from any thread.

    ``prepare`` is called in the process and returns what works there; it has to be a function of a
    module, or a ``partial`` of one. The operating system ends the process when one piece of work
    takes more than ``seconds`` of its processor time, so that a busy machine ends nobody's work.
    """

    def __init__(
        self, name: str, prepare: Callable[[], Callable[[Question], Answer]], seconds: int
    ) -> None:
        self._name = name
        self._prepare = prepare
        self._seconds = seconds
        self._lock = Lock()
        self._process: BaseProcess | None = None
        self._connection: Connection | None = None

    def start(self) -> None:
        """Begin to load what the work needs; the first ``ask`` would do it, too."""
        with self._lock:
            self._connected()

    def ask(self, question: Question, patience: float = -1) -> Answer:
        """Return the answer; after a process that died, a new one tries once more.

        Wait at most ``patience`` seconds for the questions before, or as long as it takes.
        Raises PastDeadline, Busy, WorkFailed and NoDatabase.
        """
        if not self._lock.acquire(timeout=patience):
            raise Busy
        try:
            try:
                answer, trouble = self._exchange(question)
            except (EOFError, OSError):
                answer, trouble = self._exchange(question)
        finally:
            self._lock.release()
        if trouble is not None:
            raise trouble
        return answer

    def close(self) -> None:
        with self._lock:
            self._end()

    def _exchange(self, question: Question) -> tuple[Answer, Exception | None]:
        connection = self._connected()
        try:
            connection.send(question)
            answer: tuple[Answer, Exception | None] = connection.recv()
        except (EOFError, OSError):
            if self._end() != -signal.SIGXCPU:
                raise
            # The next question need not wait for what is loaded.
            self._connected()
            raise PastDeadline from None
        return answer

    def _connected(self) -> Connection:
        if self._connection is None:
            context = get_context("spawn")
            self._connection, there = context.Pipe()
            self._process = context.Process(
                target=_work_until_alone,
                args=(there, self._prepare, self._seconds),
                name=self._name,
                daemon=True,
            )
            self._process.start()
            # The other end is the process's alone, so that its death is seen here.
            there.close()
        return self._connection

    def _end(self) -> int | None:
        """End the process; return its exit code, as ``multiprocessing`` has it."""
        code = None
        if self._connection is not None and self._process is not None:
            self._connection.close()
            self._process.join(PATIENCE_SECONDS)
            code = self._process.exitcode
            self._process.kill()
        self._connection = self._process = None
        return code


def _work_until_alone(
    connection: Connection, prepare: Callable[[], Callable[[Question], Answer]], seconds: int
) -> None:
    # Ctrl+C and a service manager tell every process; this one ends when it is asked no more.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    # The deadline's signal would leave an image of the memory on the disk.
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    os.nice(NICENESS)
    work = prepare()
    while True:
        try:
            question = connection.recv()
        except EOFError:
            return
        _begin_deadline(seconds)
        answer: Answer | None = None
        trouble: Exception | None = None
        try:
            answer = work(question)
        except (OperationalError, InterfaceError):
            trouble = NoDatabase()
        except Exception:
            log.exception("a question to the process could not be answered")
            trouble = WorkFailed()
        try:
            connection.send((answer, trouble))
        except OSError:
            return


def _begin_deadline(seconds: int) -> None:
    """Let the operating system end this process after so much more processor time."""
    most = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (ceil(process_time()) + seconds, most))
