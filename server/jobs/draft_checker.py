"""Looks into exercises under way in this process, one after another, in the background.

Each change asks for a look; only the newest revision is looked into, and a look that has become
old is given up at its next step. What is found is kept with its revision.
"""

import logging
from collections import OrderedDict
from dataclasses import asdict
from threading import Condition, Thread
from time import sleep

from server.jobs.draft_reader import DraftReader
from server.jobs.published import draft_of
from server.marking.authoring.quality import CheckProgress, look_into
from server.store.authored import find_authored, keep_findings
from server.store.database import Database, Document

COMMIT_SECONDS = 0.05

log = logging.getLogger(__name__)


class DraftChecker:
    """One thread. ``start`` it, and ``stop`` it before the database."""

    def __init__(self, database: Database, drafts: DraftReader) -> None:
        self._database = database
        self._drafts = drafts
        self._asked: OrderedDict[int, int] = OrderedDict()
        self._changed = Condition()
        self._stopping = False
        self._thread: Thread | None = None

    def look(self, exercise_id: int, revision: int) -> None:
        """Look into a revision soon, once it is committed; a newer one takes its place."""
        with self._changed:
            self._asked[exercise_id] = revision
            if self._thread is None and not self._stopping:
                self._thread = Thread(target=self._run, name="draft_checker", daemon=True)
                self._thread.start()
            self._changed.notify()

    def stop(self) -> None:
        """Give up what is being looked into and end."""
        with self._changed:
            self._stopping = True
            self._changed.notify()
            thread = self._thread
        if thread is not None:
            thread.join()

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._asked and not self._stopping:
                    self._changed.wait()
                if self._stopping:
                    return
                exercise_id, revision = self._asked.popitem(last=False)
            try:
                self._look(exercise_id, revision)
            except Exception:
                # A mistake of ours must not keep other exercises from being looked into.
                log.exception("exercise %d could not be looked into", exercise_id)

    def _look(self, exercise_id: int, asked: int) -> None:
        with self._database.read() as session:
            row = find_authored(session, exercise_id)
            if row is None:
                return
            if row.revision < asked:
                # The page asks before its change is committed.
                sleep(COMMIT_SECONDS)
                with self._changed:
                    self._asked.setdefault(exercise_id, asked)
                return
            draft, revision = draft_of(row), row.revision
        reading = self._drafts.read(draft)
        if reading.exercise is None or reading.program_faults:
            return
        corners = [(each.exercise, each.programs) for each in reading.corners if each.exercise]
        for progress in look_into(reading.exercise, reading.programs, corners):
            if self._stopping or exercise_id in self._asked:
                return
            with self._database.write() as session:
                if not keep_findings(session, exercise_id, revision, as_document(progress)):
                    return
        with self._database.write() as session:
            keep_findings(
                session, exercise_id, revision, as_document(progress) | {"complete": True}
            )


def as_document(progress: CheckProgress) -> Document:
    """Return what is kept of a look, as JSON."""
    return {
        "findings": [asdict(finding) for finding in progress.findings],
        "done": progress.done,
        "total": progress.total,
        "caught": progress.caught,
        "complete": False,
    }
