"""How the server grows: marking with 1, 2 and 4 workers, pages from 1,500 to 100,500 submissions.

    uv run python -m tests.load.growth

Marking is timed on PostgreSQL, once every worker waits for work, so that their start does not
count. Everything is on this machine, in temporary folders, and ends by itself.
"""

import os
import tempfile
import time
from contextlib import ExitStack, closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import TableClause, func, select, table

from server.jobs.queue import enqueue, prepare_queue
from server.ladder.json_form import to_json
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.paths import EXERCISES
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.migration import migrate
from tests.factories import make_assignment, make_section, make_submission, make_user
from tests.load.course_pages import fill_and_time
from tests.load.deadline import EXERCISE, running
from tests.postgresql import PostgreSQL

WORKERS = (1, 2, 4)
WARM = 40
"""Verdicts of each worker before the clock runs."""

READY = table("procrastinate_workers")
"""A worker enters itself there when it begins to wait for work."""

VERDICTS = table("verdicts")

TIMED = 800
SECTIONS = (1, 10, 67)


def main() -> None:
    print(f"{os.cpu_count()} cores, load before: {os.getloadavg()[0]:.1f}")
    for workers in WORKERS:
        with tempfile.TemporaryDirectory(prefix="rungmark-growth-") as folder, ExitStack() as stack:
            server = PostgreSQL(Path(folder) / "pg")
            stack.callback(server.server.cleanup)
            url = server.url("migrated")
            with closing(Database(url)) as database:
                migrate(database)
                prepare_queue(database)
                for _ in range(workers):
                    stack.enter_context(running("work", url))
                wait_for(database, READY, workers)
                queue_work(database, WARM * workers)
                wait_for(database, VERDICTS, WARM * workers)
                queue_work(database, TIMED)
                begun = time.monotonic()
                wait_for(database, VERDICTS, WARM * workers + TIMED)
                ended = time.monotonic()
        print(f"{workers} workers: {TIMED / (ended - begun):.1f} programs a second")
    for sections in SECTIONS:
        with tempfile.TemporaryDirectory(prefix="rungmark-growth-") as folder:
            fill_and_time(f"sqlite:///{Path(folder) / 'load.db'}", sections)


def queue_work(database: Database, number: int) -> None:
    """Students with one submission each, waiting to be marked."""
    folder = EXERCISES / EXERCISE
    exercise = load_exercise(folder)
    files = sorted((folder / "programs").glob("*.st"))
    programs = [to_json(read_program(path, exercise)) for path in files]
    now = datetime.now(UTC)
    with database.write() as session:
        people = [make_user(session) for _ in range(number)]
        section = make_section(session, *((each, SectionRole.STUDENT) for each in people))
        assignment = make_assignment(session, section, exercise=EXERCISE)
        for place, each in enumerate(people):
            program = programs[place % len(programs)]
            submission = make_submission(
                session, assignment, each, program=program, submitted_at=now
            )
            enqueue(session, submission.id)


def wait_for(database: Database, kept: TableClause, rows: int) -> None:
    """Until there are so many rows."""
    until = time.monotonic() + 300
    while time.monotonic() < until:
        with database.read() as session:
            found = session.scalars(select(func.count()).select_from(kept)).one()
        if found >= rows:
            return
        time.sleep(0.02)
    raise TimeoutError(f"{kept.name} had not {rows} rows within 300 s")


if __name__ == "__main__":
    main()
