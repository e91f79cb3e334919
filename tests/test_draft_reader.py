"""What authors write is read in a process, the same as in this one, and within a bound of time."""

from contextlib import closing
from functools import partial
from threading import Event, Thread

import pytest

from server.jobs.draft_reader import DraftReader, ReadDraft, prepare_reading
from server.jobs.work_process import Busy, WorkProcess
from server.marking.files.drafts import Draft, DraftReading, new_text, read_draft
from server.marking.files.reference_programs import program_texts
from server.paths import EXERCISES

FOLDER = EXERCISES / "settling-tank"
SHIPPED = Draft("settling-tank", (FOLDER / "exercise.yaml").read_text(), program_texts(FOLDER))
EMPTY = Draft("empty", new_text("empty", "Empty"), {})


def never_ends_on_empty() -> ReadDraft:
    """What works in a process whose deadline is tried."""

    def read(draft: Draft) -> DraftReading:
        while draft.slug == EMPTY.slug:
            pass
        return read_draft(draft)

    return read


def test_a_reading_in_a_process_is_the_same() -> None:
    with closing(WorkProcess("reading", prepare_reading, 60)) as process:
        for draft in (SHIPPED, EMPTY, Draft("broken", "a: [", {})):
            assert DraftReader(process.ask).read(draft) == read_draft(draft)


def test_texts_that_take_too_long_are_a_fault_and_stop_no_others() -> None:
    with closing(WorkProcess("reading", never_ends_on_empty, 2)) as process:
        drafts = DraftReader(process.ask)
        found = drafts.read(EMPTY)
        assert [each.sentence for each in found.faults] == [
            "The exercise takes too long to read. Make it smaller."
        ]
        assert drafts.is_heavy(EMPTY)
        assert not drafts.is_heavy(SHIPPED)
        # What has been read once is not read again.
        assert drafts.read(EMPTY) is found


def test_nobody_waits_without_end_for_the_texts_of_others() -> None:
    asked, go = Event(), Event()

    def hold(process: WorkProcess[Draft, DraftReading]) -> None:
        with process._lock:
            asked.set()
            go.wait()

    with closing(WorkProcess("reading", prepare_reading, 1)) as process:
        holding = Thread(target=partial(hold, process))
        holding.start()
        asked.wait()
        with pytest.raises(Busy):
            process.ask(EMPTY, patience=0.01)
        go.set()
        holding.join()
