"""What the process that marks is started with. It has no pages, so nothing of the web is loaded."""

import gc

from server.jobs.published import published_in
from server.jobs.worker import Announce, MarkOne, get_ready, mark
from server.logs import begin_log
from server.marking.files.catalogue import Catalogue
from server.settings import Settings
from server.store.connections import MARKING_POOL, WORKING
from server.store.database import Database
from server.store.local_time import utc_clock


def marking_for(settings: Settings, announce: Announce | None = None) -> MarkOne:
    """Return what marks in a process of its own; the kernel is loaded by then."""
    begin_log(settings.log_level)
    database = Database(settings.database_url, most=MARKING_POOL, process=WORKING)
    catalogue = Catalogue(settings.exercises, published_in(database))
    get_ready(catalogue)
    settle()
    return lambda submission_id: mark(database, catalogue, submission_id, utc_clock, announce)


def settle() -> None:
    """Leave what is loaded by now out of each later collection of garbage, which it made slow."""
    gc.collect()
    gc.freeze()
