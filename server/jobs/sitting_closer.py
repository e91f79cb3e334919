"""Closes sittings of supervised labs that are over: what was not submitted is submitted then."""

from datetime import datetime

from server.jobs.queue import Queue
from server.jobs.worker import Worker
from server.ladder.json_form import from_json
from server.ladder.validation import errors
from server.store.courses import find_assignment
from server.store.database import Database, Document
from server.store.programs import working_copy
from server.store.supervised_labs import close_sitting, sittings_to_close


def close_sittings(database: Database, worker: Worker | Queue, now: datetime) -> None:
    """Close every sitting that is over, and have marked what is submitted with it."""
    with database.read() as session:
        over = [(each.assignment_id, each.user_id) for each in sittings_to_close(session, now)]
    for assignment_id, user_id in over:
        program = _last_program(database, assignment_id, user_id)
        with database.write() as session:
            submission_id = close_sitting(session, assignment_id, user_id, program, now)
            if submission_id is not None:
                worker.enqueue(session, submission_id)
        if submission_id is not None:
            worker.begin(submission_id)


def _last_program(database: Database, assignment_id: int, user_id: int) -> Document | None:
    """Return the program as it was stored last; None if there is none that can be run."""
    nothing: Document = {}
    with database.read() as session:
        assignment = find_assignment(session, assignment_id)
        if assignment is None:
            return None
        document = working_copy(session, assignment, user_id, nothing).program
    if not document:
        return None
    program = from_json(document)
    return document if program.rungs and not errors(program) else None
