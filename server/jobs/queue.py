"""Marking by worker processes on PostgreSQL: the queue that `rungmark work` takes its jobs from.

A submission and its job are written in one transaction. The submission's row stays the truth: a
worker's rounds bring back jobs whose worker died, and make one for a row that waits without any.
A verdict and the notice of it leave in one transaction, too, so that a page that waits hears of it.
"""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from threading import Event, Thread

import psycopg
from procrastinate import App, PsycopgConnector, RetryStrategy, SyncPsycopgConnector
from procrastinate.exceptions import AlreadyEnqueued, ConnectorException
from procrastinate.schema import SchemaManager
from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from server.jobs.verdict_news import Verdicts
from server.jobs.worker import MarkOne
from server.store.connections import QUEUE_POOL, SERVING, WORKING
from server.store.database import Database, one_at_a_time
from server.store.submissions import find_submission, queued

TASK = "mark"
CHANNEL = "rungmark_marked"

TRIES = 3
RETRY_SECONDS = 5
HEARTBEAT_SECONDS = 5
STALLED_SECONDS = 15
"""A worker that is silent for so long is taken for dead."""

ROUNDS = "* * * * * */10"
"""Every ten seconds; the last field of the rule is seconds."""

FORGOTTEN = timedelta(minutes=1)
"""A row that waits for so long without a job gets one."""

log = logging.getLogger(__name__)

# Jobs are written on the unit of work's own connection, so this one is never opened.
_jobs = App(connector=SyncPsycopgConnector())


def prepare_queue(database: Database) -> None:
    """Make the tables of the queue if there are none."""
    with database.engine.begin() as connection:
        one_at_a_time(connection, "queue")
        if connection.scalar(select(func.to_regclass("procrastinate_jobs"))) is None:
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.execute(SchemaManager.get_schema())


def enqueue(session: Session, submission_id: int) -> None:
    """Write the job of a submission in the same unit of work."""
    _jobs.configure_task(
        TASK,
        connection=session.connection().connection.driver_connection,
        queueing_lock=f"submission {submission_id}",
    ).defer(submission_id=submission_id)


class Queue:
    """What a web process has of the queue: it writes jobs and hears of verdicts."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.verdicts = Verdicts()
        self._stopping = Event()
        self._thread: Thread | None = None

    def start(self) -> None:
        prepare_queue(self._database)
        self._thread = Thread(target=self._listen, name="verdicts", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()

    def enqueue(self, session: Session, submission_id: int) -> None:
        enqueue(session, submission_id)

    def begin(self, submission_id: int) -> None:
        """Nothing: some worker process takes the job as soon as it is committed."""

    def count_alive(self, session: Session) -> int:
        """Return how many `rungmark work` have given a sign of life lately."""
        found = session.scalar(
            text(
                "SELECT count(*) FROM procrastinate_workers "
                "WHERE last_heartbeat > now() - make_interval(secs => :seconds)"
            ),
            {"seconds": STALLED_SECONDS},
        )
        return int(found or 0)

    def has_failed(self, submission_id: int) -> bool:
        """Return whether every try to mark it met a mistake of ours."""
        with self._database.read() as session:
            return submission_id in failed_jobs(session)

    def _listen(self) -> None:
        while not self._stopping.is_set():
            try:
                with psycopg.connect(
                    conninfo(self._database), autocommit=True, application_name=SERVING
                ) as connection:
                    connection.execute(f"LISTEN {CHANNEL}".encode())
                    # What came while nobody listened.
                    self.verdicts.notify_all()
                    while not self._stopping.is_set():
                        for notice in connection.notifies(timeout=0.5):
                            self.verdicts.notify(int(notice.payload))
            except psycopg.OperationalError:
                log.warning("PostgreSQL does not answer; pages ask again by themselves")
                self._stopping.wait(1)


def failed_jobs(session: Session) -> set[int]:
    """Return submissions that no try could mark.

    Jobs that succeeded are deleted, so these are few.
    """
    found = session.scalars(
        text(
            "SELECT (args->>'submission_id')::int FROM procrastinate_jobs "
            "WHERE status = 'failed' AND task_name = :task"
        ),
        {"task": TASK},
    )
    return set(found)


def work(database: Database, mark_one: MarkOne, clock: Callable[[], datetime]) -> None:
    """Have ``mark_one`` mark what is queued, until SIGTERM or Ctrl+C; the last is finished."""
    prepare_queue(database)
    with database.write() as session:
        # A newer version may manage what the last one could not.
        session.execute(text("DELETE FROM procrastinate_jobs WHERE status = 'failed'"))
    while _given_up(worker_app(database, mark_one, clock)):
        log.warning("this worker hung and was given up by the others; it begins anew")


def _given_up(app: App) -> bool:
    """Run a worker; return False when it was stopped, True when the others took it for dead."""
    try:
        app.run_worker(
            concurrency=1,
            delete_jobs="successful",
            update_heartbeat_interval=HEARTBEAT_SECONDS,
            stalled_worker_timeout=STALLED_SECONDS,
        )
    except ConnectorException as trouble:
        # They have struck it off their list, to which each job refers that it takes.
        if isinstance(trouble.__cause__, psycopg.errors.ForeignKeyViolation):
            return True
        raise
    return False


def worker_app(database: Database, mark_one: MarkOne, clock: Callable[[], datetime]) -> App:
    """Return the tasks of one worker process."""
    connector = PsycopgConnector(
        conninfo=conninfo(database),
        min_size=2,
        max_size=QUEUE_POOL,
        kwargs={"application_name": WORKING},
        configure=_each_call_commits,
    )
    app = App(connector=connector)

    @app.task(name=TASK, retry=RetryStrategy(max_attempts=TRIES, wait=RETRY_SECONDS))
    def mark_submission(submission_id: int) -> None:
        mark_one(submission_id)

    @app.periodic(cron=ROUNDS)
    @app.task(name="rounds", queueing_lock="rounds", pass_context=False)
    async def rounds(timestamp: int) -> None:
        for job in await app.job_manager.get_stalled_jobs(seconds_since_heartbeat=STALLED_SECONDS):
            log.warning("job %s is taken over from a worker that stopped", job.id)
            await app.job_manager.retry_job(job)
        remember(database, clock())

    return app


async def _each_call_commits(connection: psycopg.AsyncConnection) -> None:
    # Each of the queue's calls is one statement.
    await connection.set_autocommit(True)


def remember(database: Database, now: datetime) -> None:
    """Make jobs for rows that have waited long without one."""
    with database.read() as session:
        waiting = set(queued(session)) - _with_job(session)
        old = [
            each.id
            for submission_id in sorted(waiting)
            if (each := find_submission(session, submission_id)) is not None
            # By a clock that was set back, it may have come in the future.
            and not now - FORGOTTEN < each.submitted_at <= now
        ]
    for submission_id in old:
        try:
            with database.write() as session:
                enqueue(session, submission_id)
        except AlreadyEnqueued:
            continue


def _with_job(session: Session) -> set[int]:
    """Return submissions whose job waits, is being done or has failed for good."""
    found = session.scalars(
        text(
            "SELECT (args->>'submission_id')::int FROM procrastinate_jobs WHERE task_name = :task"
        ),
        {"task": TASK},
    )
    return set(found)


def announce(session: Session, submission_id: int) -> None:
    """Tell the web processes, with the commit, that a submission waits no longer."""
    session.execute(select(func.pg_notify(CHANNEL, str(submission_id))))


def conninfo(database: Database) -> str:
    """Return the database's address as PostgreSQL's own library reads it."""
    return database.address.set(drivername="postgresql").render_as_string(hide_password=False)
