"""What one process has and no other may have meanwhile, such as a live trial run.

On PostgreSQL a claim is an advisory lock of one connection, so that it ends with the process,
however that ends. On SQLite there is one process, which has everything.
"""

from threading import Lock

from sqlalchemy import func, select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DBAPIError

from server.store.database import Database

Key = tuple[int, int]


class Claims:
    def __init__(self, database: Database) -> None:
        self._database = database
        self._held: set[Key] = set()
        self._connection: Connection | None = None
        self._lock = Lock()

    def take(self, key: Key) -> bool:
        """Return whether this process has ``key`` from now on, as it may have had before."""
        with self._lock:
            if not self._database.is_sqlite and key not in self._held and not self._locked(key):
                return False
            self._held.add(key)
            return True

    def release(self, key: Key) -> None:
        with self._lock:
            if key not in self._held:
                return
            self._held.remove(key)
            if self._connection is not None:
                self._connection.scalar(select(func.pg_advisory_unlock(*key)))

    def close(self) -> None:
        with self._lock:
            self._held.clear()
            if self._connection is not None:
                self._connection.invalidate()
                self._connection.close()
                self._connection = None

    def _locked(self, key: Key) -> bool:
        try:
            return self._try(key)
        except DBAPIError:
            # The connection was lost, and with it all locks: they are taken again on another.
            if self._connection is not None:
                self._connection.invalidate()
                self._connection.close()
                self._connection = None
            for each in self._held:
                self._try(each)
            return self._try(key)

    def _try(self, key: Key) -> bool:
        if self._connection is None:
            engine = self._database.engine.execution_options(isolation_level="AUTOCOMMIT")
            self._connection = engine.connect()
        return bool(self._connection.scalar(select(func.pg_try_advisory_lock(*key))))
