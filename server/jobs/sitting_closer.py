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
        program, revision = _last_program(database, assignment_id, user_id)
        with database.write() as session:
            submission_id = close_sitting(
                session, assignment_id, user_id, program, now, revision=revision
            )
            if submission_id is not None:
                worker.enqueue(session, submission_id)
        if submission_id is not None:
            worker.begin(submission_id)


def _last_program(
    database: Database, assignment_id: int, user_id: int
) -> tuple[Document | None, int]:
    """Return the program as it was stored last, None if it can't be run, and its revision."""
    nothing: Document = {}
    with database.read() as session:
        assignment = find_assignment(session, assignment_id)
        if assignment is None:
            return None, 0
        copy = working_copy(session, assignment, user_id, nothing)
    if not copy.program:
        return None, copy.revision
    program = from_json(copy.program)
    return (copy.program if program.rungs and not errors(program) else None), copy.revision
