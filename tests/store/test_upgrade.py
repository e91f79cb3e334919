"""Every earlier version's database is brought up to date with what it holds."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from server.store.courses import Assignment
from server.store.database import Database, DatabaseTrouble
from server.store.gradebook import standings_in
from server.store.migration import migrate
from tests.postgresql import PostgreSQL
from tests.store.earlier import REVISIONS, add_first_rows


@pytest.fixture(params=["sqlite", "postgresql"])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    if request.param == "postgresql":
        server: PostgreSQL = request.getfixturevalue("postgres")
        with server.database("template0") as database:
            yield database
        return
    with closing(Database(f"sqlite:///{tmp_path / 'rungmark.db'}")) as database:
        yield database


@pytest.mark.parametrize("revision", REVISIONS)
def test_an_earlier_version_is_brought_up_to_date(empty: Database, revision: str) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)
    migrate(empty, revision)
    migrate(empty)
    with empty.read() as session:
        assignment = session.get_one(Assignment, 1)
        standing = standings_in(session, assignment)[1]
    assert (standing.points, standing.max_score) == (1.0, 2.0)
    assert standing.results == {"R1": "met", "R2": "not met"}


def test_a_migration_that_is_interrupted_leaves_what_was(
    empty: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    migrate(empty, REVISIONS[0])
    add_first_rows(empty)

    def pull_the_plug(*_arguments: object) -> None:
        raise DatabaseTrouble("the plug")

    with monkeypatch.context() as patched:
        # It is the last thing before the commit.
        patched.setattr("server.store.migration._check_foreign_keys", pull_the_plug)
        with pytest.raises(DatabaseTrouble, match="the plug"):
            migrate(empty)
    with empty.read() as session:
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[0]
        assert session.scalar(text("SELECT count(*) FROM submissions")) == 1
    migrate(empty)
    with empty.read() as session:
        assert session.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[-1]
