"""How many connections to PostgreSQL the processes of a server take, and who holds some now."""

from dataclasses import dataclass

from sqlalchemy import text

from server.store.database import Database

SERVING, WORKING = "rungmark serve", "rungmark work"
"""The names under which PostgreSQL lists the connections of web processes and of workers."""

WEB_POOL = 30
"""Of a web process; one more listens for verdicts."""

WORKER_POOL, MARKING_POOL, QUEUE_POOL = 4, 2, 4
"""Of a worker, of the process that marks for it, and of its queue."""

MOST = {SERVING: WEB_POOL + 1, WORKING: WORKER_POOL + MARKING_POOL + QUEUE_POOL}
"""What one process takes at most."""


@dataclass(frozen=True, slots=True)
class Connections:
    """Connections that PostgreSQL allows its ordinary users, and those that are taken now."""

    allowed: int
    taken: int

    def describe(self, process: str) -> str:
        """Return one sentence for whoever starts ``process``, with a warning when it is tight."""
        most, left = MOST[process], max(0, self.allowed - self.taken)
        told = (
            f"PostgreSQL allows {self.allowed} connections, of which {self.taken} are taken; "
            f"this process takes up to {most}."
        )
        if most > left:
            told += " Raise max_connections in postgresql.conf, or start fewer processes."
        return told


def connections_now(database: Database) -> Connections:
    with database.engine.connect() as connection:
        allowed, taken = connection.execute(
            text(
                "SELECT current_setting('max_connections')::int "
                "- current_setting('superuser_reserved_connections')::int, "
                "(SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend')"
            )
        ).one()
    return Connections(allowed, taken)


def processes_that_use(database: Database) -> int:
    """Return how many connections web processes and workers hold to this database; 0 on SQLite."""
    if database.is_sqlite:
        return 0
    with database.engine.connect() as connection:
        found: int = connection.execute(
            text(
                "SELECT count(*) FROM pg_stat_activity "
                "WHERE datname = current_database() AND application_name = ANY(:names)"
            ),
            {"names": [SERVING, WORKING]},
        ).scalar_one()
    return found
