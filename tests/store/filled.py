"""Rows for every table of a database, whatever version left it: made up from its columns."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Column, Connection, MetaData, Table

from server.store.migration import ALL_TABLES

OTHERS = ("alembic_version",)

_FITTING = {"time_zone": "UTC", "time_factor": 1.5}
"""What a program or a check looks at, by column."""


def tables_of(connection: Connection) -> list[Table]:
    """The tables that the database has now, those that others refer to first."""
    found = MetaData()
    found.reflect(connection)
    return [table for table in found.sorted_tables if table.name not in OTHERS]


def fill(connection: Connection) -> None:
    """One row for each table that has none."""
    for table in tables_of(connection):
        if connection.scalar(sa.select(sa.func.count()).select_from(table)) == 0:
            connection.execute(table.insert().values(_row(table, connection)))


def held(connection: Connection) -> dict[str, list[dict[str, str]]]:
    """All rows by table, each value as its text."""
    return {
        table.name: [
            {column: repr(value) for column, value in row.items()}
            for row in connection.execute(sa.select(table)).mappings()
        ]
        for table in tables_of(connection)
    }


def _row(table: Table, connection: Connection) -> dict[str, Any]:
    return {column.name: _value(column, connection) for column in table.columns}


def _value(column: Column[Any], connection: Connection) -> Any:
    for key in column.foreign_keys:
        return connection.scalar(sa.select(key.column).limit(1))
    known = ALL_TABLES.tables.get(column.table.name)
    kept = known.columns.get(column.name) if known is not None else None
    # A word that the program of today may look at.
    if kept is not None and isinstance(kept.type, sa.Enum):
        return kept.type.enums[0]
    if column.name in _FITTING:
        return _FITTING[column.name]
    for kind, value in _values(column):
        if isinstance(column.type, kind):
            return value
    raise AssertionError(f"no value for {column.type}")


def _values(column: Column[Any]) -> Iterator[tuple[type[Any], Any]]:
    yield sa.Boolean, True
    yield sa.DateTime, datetime(2026, 10, 5, 12, tzinfo=UTC)
    yield sa.Date, date(2026, 10, 5)
    yield sa.Integer, 1
    yield sa.Float, 0.5
    yield sa.Numeric, 0.5
    yield sa.JSON, {"version": 1}
    yield sa.LargeBinary, b"x"
    yield sa.String, "x"
