"""A database that is new, old, newer, locked, damaged or not to be had."""

import shutil
import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text

from server.paths import MIGRATIONS
from server.store import database as store_database
from server.store import migration
from server.store.courses import SectionRole
from server.store.database import Database, DatabaseTrouble
from server.store.migration import ALL_TABLES, migrate
from tests.factories import make_section, make_user


def trouble_with(database: Database) -> str:
    with pytest.raises(DatabaseTrouble) as trouble:
        migrate(database)
    database.close()
    return str(trouble.value)


def test_migrations_make_the_tables_of_the_models(database: Database) -> None:
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, ALL_TABLES) == []


def test_a_migration_knows_every_table_whatever_else_is_loaded() -> None:
    store = Path(migration.__file__).parent
    with_tables = {path.stem for path in store.glob("*.py") if "__tablename__" in path.read_text()}
    assert with_tables <= set(vars(migration))


def test_migrating_again_changes_nothing(database: Database) -> None:
    with database.write() as session:
        user = make_user(session)
    migrate(database)
    with database.read() as session:
        assert session.get(type(user), user.id) is not None
        if database.is_sqlite:
            assert session.scalar(text("PRAGMA foreign_keys")) == 1


def test_a_newer_database_is_left_alone(database: Database) -> None:
    with database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    assert trouble_with(database) == (
        f"The database {database.place} was written by a newer version of Rungmark "
        "(its tables are at 9999). Install that version, or name another folder with --data."
    )


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_locked_database_is_told(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_database, "BUSY_SECONDS", 0)
    impatient = Database(f"sqlite:///{tmp_path}/rungmark.db")
    other = sqlite3.connect(tmp_path / "rungmark.db")
    other.execute("BEGIN IMMEDIATE")
    try:
        message = trouble_with(impatient)
    finally:
        other.close()
    assert message.startswith(f"The database {impatient.place} is locked by another program.")


def test_a_file_that_is_no_database_is_told_and_left(tmp_path: Path) -> None:
    file = tmp_path / "rungmark.db"
    file.write_bytes(b"a lab report, not a database\n" * 100)
    before = file.read_bytes()
    message = trouble_with(Database(f"sqlite:///{file}"))
    assert message.startswith(f"The file of sqlite:///{file} is not a database.")
    assert file.read_bytes() == before


def test_a_folder_that_is_missing_is_told(tmp_path: Path) -> None:
    message = trouble_with(Database(f"sqlite:///{tmp_path}/missing/rungmark.db"))
    assert message.startswith(f"The database sqlite:///{tmp_path}/missing/rungmark.db can't be op")


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_rows_that_refer_to_nothing_stop_a_migration(database: Database) -> None:
    with database.engine.connect() as connection:
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys=OFF")
        driver.execute(
            "INSERT INTO enrolments (section_id, user_id, role) VALUES (7, 8, 'student')"
        )
        connection.invalidate()
    assert "2 rows that refer to rows which are gone" in trouble_with(database)


MAKES_USERS_ANEW = """
from alembic import op
import sqlalchemy as sa

revision = "9000"
down_revision = "{head}"


def upgrade() -> None:
    with op.batch_alter_table("users", recreate="always") as users:
        users.add_column(sa.Column("pronouns", sa.String(20)))
"""


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
def test_a_table_that_is_made_anew_keeps_the_rows_that_refer_to_it(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with database.write() as session:
        make_section(session, (make_user(session), SectionRole.STUDENT))
        head = session.scalar(text("SELECT version_num FROM alembic_version"))
    later = tmp_path / "migrations"
    shutil.copytree(MIGRATIONS, later)
    (later / "versions" / "9000_later.py").write_text(MAKES_USERS_ANEW.format(head=head))
    monkeypatch.setattr(migration, "MIGRATIONS", later)
    migrate(database)
    with database.read() as session:
        assert session.scalar(text("SELECT count(*) FROM enrolments")) == 1
        assert session.scalar(text("SELECT count(pronouns) FROM users")) == 0
