"""Reading what authors write, out of the way of pages: in a process, within a bound of time.

A text that takes too long is a reading with one fault, as any other that can't be read.
"""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

from server.jobs.work_process import PastDeadline
from server.marking.files.document import Fault
from server.marking.files.drafts import Draft, DraftReading, read_draft

READING_SECONDS = 10
"""Of processor time, for all texts of one draft. Those of a large exercise need half a second."""

WAITING_SECONDS = 10.0
"""How long a page waits for another author's texts to be read."""

READINGS_KEPT = 30

TOO_LONG = Fault(1, 1, "", "The exercise takes too long to read. Make it smaller.")

ReadDraft = Callable[[Draft], DraftReading]


class DraftReader:
    """The readings of one server; the newest are kept, since pages ask for them again and again.

    ``read`` does the reading and may raise PastDeadline; without it, the calling thread does.
    """

    def __init__(self, read: ReadDraft = read_draft) -> None:
        self._read = read
        self._kept: OrderedDict[object, DraftReading] = OrderedDict()
        self._lock = Lock()

    def is_heavy(self, draft: Draft) -> bool:
        """Return whether a draft takes too long to read for anything else to be done to it."""
        return self.read(draft).faults == (TOO_LONG,)

    def read(self, draft: Draft) -> DraftReading:
        """Return what could be made of a draft; nobody changes a reading."""
        key = draft.slug, draft.text, tuple(sorted(draft.programs.items()))
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        try:
            reading = self._read(draft)
        except PastDeadline:
            reading = DraftReading(None, None, (TOO_LONG,))
        with self._lock:
            self._kept[key] = reading
            if len(self._kept) > READINGS_KEPT:
                self._kept.popitem(last=False)
        return reading


def prepare_reading() -> ReadDraft:
    """Return what reads drafts in a process of its own."""
    return read_draft
