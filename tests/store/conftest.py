"""Every test of the store runs on SQLite and on PostgreSQL.

One that is about files or PRAGMAs says so: ``parametrize("database", ["sqlite"], indirect=True)``.
"""

import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from server.store.database import Database
from tests.postgresql import PostgreSQL


@pytest.fixture(params=["sqlite", "postgresql"])
def database(
    request: pytest.FixtureRequest, migrated_file: Path, tmp_path: Path
) -> Iterator[Database]:
    if request.param == "postgresql":
        server: PostgreSQL = request.getfixturevalue("postgres")
        with server.database() as database:
            yield database
        return
    file = tmp_path / "rungmark.db"
    shutil.copyfile(migrated_file, file)
    database = Database(f"sqlite:///{file}")
    yield database
    database.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database without tables, for tests of migrations."""
    if request.param == "postgresql":
        server: PostgreSQL = request.getfixturevalue("postgres")
        with server.database("template0") as database:
            yield database
        return
    with closing(Database(f"sqlite:///{tmp_path / 'rungmark.db'}")) as database:
        yield database
