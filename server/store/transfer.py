"""Moves all rows from one database to another, whichever kind each is, and proves that it did.

It is what `rungmark copy`, `backup` and `restore` stand on. A table's fingerprint is a hash over
all of its values that does not depend on the order of the rows, nor on how a database keeps them.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from alembic.migration import MigrationContext
from sqlalchemy import Connection, Table, func, insert, select
from sqlalchemy.exc import DBAPIError

from server.store.database import Database, DatabaseTrouble, one_at_a_time
from server.store.migration import ALL_TABLES, migrate, newest_revision

ROWS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Content:
    """How many rows a table has, and the fingerprint of their values."""

    rows: int
    fingerprint: str


def copy(source: Database, target: Database, *, over: bool = False) -> dict[str, Content]:
    """Copy every row into ``target``, whose tables are made; what it then holds, by table.

    ``over`` deletes first what the target holds. Everything happens in one transaction of the
    target, so that it is as it was when anything goes wrong. Raises DatabaseTrouble when the
    source is not up to date, the target holds something already, or the copy is not the same.
    """
    _require_newest(source)
    migrate(target)
    try:
        with (
            source.read() as reading,
            target.write() as writing,
        ):
            there, here = reading.connection(), writing.connection()
            one_at_a_time(here, "copy")
            _clear(here, target.place, over=over)
            expected = {}
            for table in ALL_TABLES.sorted_tables:
                expected[table.name] = _copy_table(table, there, here)
            found = contents(here)
            if found != expected:
                wrong = ", ".join(sorted(n for n in expected if expected[n] != found[n]))
                raise DatabaseTrouble(
                    f"What arrived in {target.place} is not what {source.place} holds "
                    f"(tables: {wrong}). The copy was taken back; nothing was changed."
                )
            return found
    except DBAPIError as error:
        raise target.explain(error) from error


def contents(connection: Connection) -> dict[str, Content]:
    """Return what each table holds."""
    return {
        table.name: _content(table, rows_of(table, connection))
        for table in ALL_TABLES.sorted_tables
    }


def back_up(database: Database, file: Path) -> dict[str, Content]:
    """Write everything to a new SQLite file while the server may go on; what it holds, by table.

    Raises DatabaseTrouble, and leaves no file, when it can't be written or exists already.
    """
    if file.exists():
        raise DatabaseTrouble(f"The file {file} exists already. Name another for the backup.")
    # It has its name only once it is whole.
    growing = file.with_name(f"{file.name}.part")
    growing.unlink(missing_ok=True)
    try:
        if database.is_sqlite:
            with database.engine.connect() as connection:
                driver = connection.connection.driver_connection
                assert driver is not None
                driver.execute("VACUUM INTO ?", (str(growing),))
            with closing(Database(f"sqlite:///{growing}")) as copied, copied.read() as session:
                found = contents(session.connection())
        else:
            with closing(Database(f"sqlite:///{growing}")) as copied:
                found = copy(database, copied)
        _settle(growing)
        growing.rename(file)
    except (sqlite3.Error, OSError) as error:
        raise DatabaseTrouble(f"The backup {file} can't be written: {error}.") from error
    except DBAPIError as error:
        raise database.explain(error) from error
    finally:
        for left in growing.parent.glob(f"{growing.name}*"):
            left.unlink()
    return found


def restore(file: Path, target: Database, *, over: bool = False) -> dict[str, Content]:
    """Bring back what a backup holds, an older version's too; ``over`` as for ``copy``."""
    if not file.is_file():
        raise DatabaseTrouble(f"There is no backup {file}. Name the file that was written.")
    # An older backup is brought up to date first: a copy of it, for it is to stay as it was.
    working = file.with_name(f"{file.name}.restoring")
    try:
        with (
            closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as kept,
            closing(sqlite3.connect(working)) as copied,
        ):
            kept.backup(copied)
        with closing(Database(f"sqlite:///{working}")) as source:
            migrate(source)
            return copy(source, target, over=over)
    except sqlite3.Error as error:
        raise DatabaseTrouble(f"The backup {file} can't be read: {error}.") from error
    finally:
        for left in working.parent.glob(f"{working.name}*"):
            left.unlink()


def _require_newest(database: Database) -> None:
    try:
        with database.engine.connect() as connection:
            heads = MigrationContext.configure(connection).get_current_heads()
    except DBAPIError as error:
        raise database.explain(error) from error
    if heads != (newest_revision(),):
        raise DatabaseTrouble(
            f"The tables of {database.place} are not those of this version. "
            "Start `rungmark serve` on it once, which brings it up to date, then copy it."
        )


def _clear(connection: Connection, place: str, *, over: bool) -> None:
    for table in reversed(ALL_TABLES.sorted_tables):
        if over:
            connection.execute(table.delete())
        elif connection.execute(select(table).limit(1)).first() is not None:
            raise DatabaseTrouble(
                f"The database {place} holds something already, so nothing was copied into it. "
                "Name an empty one, or say --over to replace what it holds."
            )


def _copy_table(table: Table, source: Connection, target: Connection) -> Content:
    sums = _Sums()
    batch: list[dict[str, Any]] = []
    for row in rows_of(table, source):
        sums.add(row)
        batch.append(row)
        if len(batch) == ROWS_AT_ONCE:
            target.execute(insert(table), batch)
            batch = []
    if batch:
        target.execute(insert(table), batch)
    continue_numbers(table, target)
    return sums.content


def continue_numbers(table: Table, connection: Connection) -> None:
    """PostgreSQL counts new ids apart from the rows; let it go on after the last one."""
    column = table.autoincrement_column
    if connection.dialect.name != "postgresql" or column is None:
        return
    last = connection.scalar(select(func.max(column)))
    if last is not None:
        sequence = func.pg_get_serial_sequence(table.name, column.name)
        connection.execute(select(func.setval(sequence, last)))


def rows_of(table: Table, connection: Connection) -> Iterator[dict[str, Any]]:
    found = connection.execution_options(yield_per=ROWS_AT_ONCE).execute(select(table))
    for row in found:
        yield dict(row._mapping)


def _content(table: Table, rows: Iterable[Mapping[str, Any]]) -> Content:
    sums = _Sums()
    for row in rows:
        sums.add(row)
    return sums.content


class _Sums:
    """Adds up the hashes of rows: the sum does not depend on their order."""

    def __init__(self) -> None:
        self._rows = 0
        self._sum = 0

    def add(self, row: Mapping[str, Any]) -> None:
        values: Sequence[tuple[str, Any]] = sorted((str(name), row[name]) for name in row)
        text = json.dumps(values, sort_keys=True, default=_plain, ensure_ascii=True)
        self._rows += 1
        self._sum += int.from_bytes(hashlib.sha256(text.encode()).digest())

    @property
    def content(self) -> Content:
        return Content(self._rows, f"{self._sum % 2**256:064x}")


def _plain(value: object) -> str:
    if isinstance(value, bytes):
        return value.hex()
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _settle(file: Path) -> None:
    """Put everything into the one file, without a log beside it."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
