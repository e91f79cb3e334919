"""The engine, the base class of all tables, and the one unit of work.

Every change goes through ``with database.write() as session``: leaving the block commits, an
exception rolls everything back. ``database.read()`` is for pages that change nothing; on SQLite it
does not wait for a writer.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import JSON, DateTime, Dialect, Enum, MetaData, TypeDecorator, create_engine, event
from sqlalchemy.engine import Connection, Engine, make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import DeclarativeBase, Session, sessionmaker

Document = dict[str, Any]
"""A JSON object that the store keeps and does not look into."""


class UtcDateTime(TypeDecorator[datetime]):
    """Moments with a time zone go in and come out; SQLite, which keeps none, holds UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"A moment without a time zone can't be stored: {value}")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Base of all tables; constraints have names so that a migration can find them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012
        datetime: UtcDateTime,
        Document: JSON,
        # The word is stored, not the member's name; Python refuses a word it does not know.
        StrEnum: Enum(
            StrEnum,
            native_enum=False,
            length=20,
            values_callable=lambda words: [word.value for word in words],
        ),
    }


class DatabaseTrouble(Exception):
    """The database can't be used; the text says what, where and how to mend it."""


class Database:
    """One database, SQLite or PostgreSQL, as the URL says."""

    def __init__(self, url: str) -> None:
        self.engine: Engine = create_engine(url)
        self.place = make_url(url).render_as_string(hide_password=True)
        self._session = sessionmaker(self.engine, expire_on_commit=False)
        self._reading = sessionmaker(
            self.engine.execution_options(read_only=True), expire_on_commit=False
        )
        if self.engine.dialect.name == "sqlite":
            event.listen(self.engine, "connect", _prepare_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)

    @contextmanager
    def write(self) -> Iterator[Session]:
        """One unit of work: committed as a whole on leaving, or not at all."""
        with self._session.begin() as session:
            yield session

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A consistent view for reading; what is changed in it is lost."""
        with self._reading() as session:
            yield session

    def close(self) -> None:
        self.engine.dispose()

    def explain(self, error: DBAPIError) -> DatabaseTrouble:
        """The same trouble in one sentence for whoever runs the server."""
        cause = str(error.orig)
        for sign, sentence in _SENTENCES.items():
            if sign in cause:
                return DatabaseTrouble(sentence.format(place=self.place))
        return DatabaseTrouble(f"The database {self.place} does not answer: {cause}.")


_SENTENCES = {
    "unable to open": "The database {place} can't be opened. "
    "Check that its folder exists and may be written, or name another folder with --data.",
    "is locked": "The database {place} is locked by another program. "
    "Stop that program, or name another folder with --data.",
    "not a database": "The file of {place} is not a database. "
    "Move it away or restore a backup, or name another folder with --data.",
    "readonly": "The database {place} may not be written. "
    "Give this user the right to write the file and its folder.",
    "disk is full": "The disk that holds {place} is full. Free some space and try again.",
}


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # SQLAlchemy's "begin" event opens every transaction; the driver must not do so by itself.
    connection.isolation_level = None
    for pragma in (
        "journal_mode=WAL",
        "synchronous=NORMAL",
        "foreign_keys=ON",
        "busy_timeout=5000",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that reads first and writes later loses updates or fails half-way on SQLite;
    # taking the write lock at once makes the second writer wait instead.
    reading = connection.get_execution_options().get("read_only")
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")
