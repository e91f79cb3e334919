"""Marks the submissions of one exercise again, to see what a new version would change.

Nothing is stored until ``apply``: first an instructor sees whose verdicts would change. Equal
programs are marked once.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from json import dumps
from threading import Lock, Thread

from server.ladder.json_form import from_json
from server.marking.exercise import Exercise
from server.marking.marking import mark
from server.marking.verdict import Verdict
from server.marking.verdict_form import to_json
from server.store.courses import find_assignment
from server.store.database import Database
from server.store.lti_outbox import queue_scores
from server.store.regrades import (
    MarkedSubmission,
    marked_submissions,
    recount_all,
    replace_verdicts,
)
from server.store.standings import with_partners

BATCH = 200
"""Verdicts stored in one unit of work."""


@dataclass(frozen=True, slots=True)
class ChangedVerdict:
    """A submission whose results would change."""

    marked: MarkedSubmission
    verdict: Verdict
    requirements: tuple[str, ...]

    @property
    def share(self) -> float:
        """The part of the new verdict's points that it gives, from 0 to 1."""
        return self.verdict.score / self.verdict.max_score if self.verdict.max_score else 0.0

    @property
    def falls(self) -> bool:
        """Whether the student would have a smaller share of the points than now."""
        return self.share < self.marked.share


@dataclass(slots=True)
class RegradeProgress:
    """How far marking again has come, for one revision of a draft.

    ``drawn`` gives the exercise with the numbers of a submission's seed; ``submissions`` are those
    that had their verdict at the beginning.
    """

    revision: int
    drawn: Callable[[str], Exercise]
    submissions: list[MarkedSubmission]
    done: int = 0
    programs: int = 0
    changes: list[ChangedVerdict] = field(default_factory=list)
    complete: bool = False
    failed: bool = False

    @property
    def total(self) -> int:
        """How many submissions are marked again."""
        return len(self.submissions)


class Regrader:
    """One comparison for each exercise; a newer one takes the place of an older."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._comparisons: dict[str, RegradeProgress] = {}
        self._lock = Lock()
        self._marking = Lock()

    def find(self, slug: str, revision: int) -> RegradeProgress | None:
        """Return the comparison of this revision, if there is one."""
        found = self._comparisons.get(slug)
        return found if found is not None and found.revision == revision else None

    def compare(
        self, slug: str, revision: int, drawn: Callable[[str], Exercise]
    ) -> RegradeProgress:
        """Begin to mark all submissions again, in the background.

        ``drawn`` gives the exercise with the numbers of a submission's seed.
        """
        with self._lock:
            found = self.find(slug, revision)
            if found is not None and not found.failed:
                return found
            with self._database.read() as session:
                submissions = marked_submissions(session, slug)
            found = self._comparisons[slug] = RegradeProgress(revision, drawn, submissions)
        work = (slug, found)
        Thread(target=self._run, args=work, name="marking again", daemon=True).start()
        return found

    def _run(self, slug: str, found: RegradeProgress) -> None:
        try:
            # One comparison at a time, so that pages keep most of the processor.
            with self._marking:
                for change in changed_verdicts(found, found.submissions):
                    if self._comparisons.get(slug) is not found:
                        return
                    found.changes.append(change)
                found.complete = True
        except Exception:
            found.failed = True
            raise

    def apply(self, slug: str, found: RegradeProgress, now: datetime, *, may_fall: bool) -> int:
        """Store the new verdicts of a complete comparison; how many were replaced.

        What was marked by the earlier version since the comparison began is marked again, too.
        """
        compared = {each.submission_id for each in found.submissions}
        with self._database.read() as session:
            newest = marked_submissions(session, slug)
        late = [each for each in newest if each.submission_id not in compared]
        found.changes += changed_verdicts(found, late)
        replaced, assignments = 0, set()
        for first in range(0, len(found.changes), BATCH):
            batch = found.changes[first : first + BATCH]
            verdicts = [(c.marked.submission_id, c.verdict, to_json(c.verdict)) for c in batch]
            with self._database.write() as session:
                replaced += replace_verdicts(session, verdicts, now, may_fall=may_fall)
            assignments |= {change.marked.assignment_id for change in batch}
        with self._database.write() as session:
            recount_all(session, assignments)
            for assignment_id in sorted(assignments):
                assignment = find_assignment(session, assignment_id)
                if assignment is not None:
                    students = [
                        c.marked.user_id
                        for c in found.changes
                        if c.marked.assignment_id == assignment_id
                    ]
                    workers = with_partners(session, assignment, students)
                    queue_scores(session, assignment, workers, now)
        self._comparisons.pop(slug, None)
        return replaced


def changed_verdicts(
    progress: RegradeProgress, submissions: Iterable[MarkedSubmission]
) -> Iterable[ChangedVerdict]:
    """Mark each program once for its numbers; yield whose results differ from the stored ones.

    They differ in a requirement's status, its points, or what it is worth.
    """
    verdicts: dict[tuple[str, object], Verdict] = {}
    for marked in submissions:
        exercise = progress.drawn(marked.seed)
        key = dumps(marked.program, sort_keys=True), exercise.numbers
        if key not in verdicts:
            verdicts[key] = mark(exercise, from_json(marked.program))
            progress.programs = len(verdicts)
        verdict = verdicts[key]
        before = {
            r["id"]: (r["status"], r["score"], r["max_score"])
            for r in marked.document["requirements"]
        }
        after = {r.id: (r.status.value, r.score, r.max_score) for r in verdict.requirements}
        differing = [id for id in {**before, **after} if before.get(id) != after.get(id)]
        progress.done += 1
        if differing:
            yield ChangedVerdict(marked, verdict, tuple(differing))
