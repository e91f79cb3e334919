"""Marks submitted programs for this process, one after another, outside any unit of work.

The submission's row is the truth: whatever is still queued when the server starts, or was left by
another process that stopped, is marked by the next sweep. A verdict is stored once, however often
a submission is marked.
"""

import logging
from collections.abc import Callable
from datetime import datetime
from queue import Empty, SimpleQueue
from threading import Event, Lock, Thread

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.orm import Session

from server.jobs.verdict_news import Verdicts
from server.jobs.work_process import NoDatabase, PastDeadline, WorkProcess
from server.ladder.json_form import from_json
from server.marking import marking
from server.marking.files.catalogue import Catalogue, start_program
from server.marking.verdict_form import to_json
from server.store.database import Database
from server.store.lti_outbox import queue_scores
from server.store.standings import with_partners
from server.store.submissions import find_submission, leave_unmarked, queued, store_verdict

SWEEP_SECONDS = 60.0

MARKING_SECONDS = 60
"""Of processor time, for one program. The largest that are taken need a tenth of it or less."""

MarkOne = Callable[[int], None]
"""Marks the submission with this id and stores the verdict."""

Announce = Callable[[Session, int], None]
"""Called in the unit of work in which a submission ceases to wait."""

log = logging.getLogger(__name__)


class Worker:
    """One thread that has marked what is queued. ``start`` it; ``stop`` it before the database.

    ``mark_one`` does the marking, perhaps in another process; without it, the thread does.
    """

    def __init__(
        self,
        database: Database,
        catalogue: Catalogue,
        clock: Callable[[], datetime],
        mark_one: MarkOne | None = None,
    ) -> None:
        self._database = database
        self._mark_one = mark_one or (lambda each: mark(database, catalogue, each, clock))
        self.verdicts = Verdicts()
        self._waiting: SimpleQueue[int | None] = SimpleQueue()
        self._failed: set[int] = set()
        self._lock = Lock()
        self._thread: Thread | None = None
        self._stopping = Event()

    def start(self) -> None:
        """Begin to mark; what is queued from before comes first. Once started, it goes on."""
        with self._lock:
            if self._thread is None:
                self._stopping.clear()
                self._thread = Thread(target=self._run, name="marking", daemon=True)
                self._thread.start()

    def stop(self) -> None:
        """Finish the program that is being marked and end; the rest is left to the next start."""
        with self._lock:
            thread, self._thread = self._thread, None
        self._stopping.set()
        if thread is not None:
            self._waiting.put(None)
            thread.join()

    def enqueue(self, session: Session, submission_id: int) -> None:
        """Nothing: the submission's row is the job of this process."""

    def begin(self, submission_id: int) -> None:
        """Mark a submission soon, now that it is committed."""
        self.start()
        self._waiting.put(submission_id)

    def count_alive(self, _session: Session) -> int:
        """Return how many workers mark: the thread of this process, if it runs."""
        return int(self._thread is not None and self._thread.is_alive())

    def has_failed(self, submission_id: int) -> bool:
        """Return whether marking it met a mistake of ours; it stays queued, for the next start."""
        return submission_id in self._failed

    def _run(self) -> None:
        self._sweep()
        while not self._stopping.is_set():
            try:
                submission_id = self._waiting.get(timeout=SWEEP_SECONDS)
            except Empty:
                self._sweep()
                continue
            if submission_id is not None and not self._stopping.is_set():
                self._mark(submission_id)

    def _sweep(self) -> None:
        try:
            with self._database.read() as session:
                left = queued(session)
        except DBAPIError:
            log.exception("the database does not answer; the next sweep tries again")
            return
        for submission_id in left:
            if self._stopping.is_set():
                return
            if submission_id not in self._failed:
                self._mark(submission_id)

    def _mark(self, submission_id: int) -> None:
        try:
            self._mark_one(submission_id)
        except (NoDatabase, OperationalError, InterfaceError):
            log.warning("the database did not take verdict %d; it is tried again", submission_id)
        except Exception:
            # The row stays queued, so nothing is lost; one bad program must not stop the others.
            log.exception("submission %d could not be marked", submission_id)
            self._failed.add(submission_id)
        finally:
            self.verdicts.notify(submission_id)


def get_ready(catalogue: Catalogue) -> None:
    """Load what the first marking would wait for: the kernel, compiled or from its cache."""
    for exercise in filter(None, map(catalogue.find, catalogue.slugs()[:1])):
        marking.mark(exercise, start_program(exercise))


def mark(
    database: Database,
    catalogue: Catalogue,
    submission_id: int,
    clock: Callable[[], datetime],
    announce: Announce | None = None,
) -> None:
    """Mark one submission and store its verdict, unless it has one or its exercise is gone.

    ``announce`` is called in the unit of work that stores the verdict.
    """
    with database.read() as session:
        submission = find_submission(session, submission_id)
    if submission is None or submission.verdict is not None:
        return
    exercise = catalogue.find(submission.assignment.exercise, submission.seed)
    if exercise is None:
        return
    verdict = marking.mark(exercise, from_json(submission.program))
    document, now = to_json(verdict), clock()
    with database.write() as session:
        if store_verdict(session, submission_id, verdict, document, now):
            assignment = submission.assignment
            workers = with_partners(session, assignment, [submission.user_id])
            queue_scores(session, assignment, workers, now)
            if announce is not None:
                announce(session, submission_id)


def mark_in_time(
    process: WorkProcess[int, None], database: Database, announce: Announce | None = None
) -> MarkOne:
    """Return what has ``process`` mark; a program that takes too long is left without a verdict."""

    def mark_one(submission_id: int) -> None:
        try:
            process.ask(submission_id)
        except PastDeadline:
            log.warning("submission %d is too large to be run in time", submission_id)
            with database.write() as session:
                if leave_unmarked(session, submission_id) and announce is not None:
                    announce(session, submission_id)

    return mark_one
