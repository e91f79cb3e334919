"""Brings a database to the tables that this version of the program expects."""

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from server.paths import MIGRATIONS
from server.store import (  # noqa: F401 (all modules with tables)
    allowances,
    api_tokens,
    attempts,
    audit_chain,
    authored,
    calendar_links,
    college,
    comment_snippets,
    correction_requests,
    corrections,
    courses,
    guesses,
    holidays,
    join_codes,
    lti,
    mail_outbox,
    openid,
    outcome_actions,
    outcomes,
    passwords,
    people,
    programs,
    regrades,
    released_runs,
    second_factors,
    sessions,
    signatures,
    sittings,
    standings,
    trials,
    versions,
)
from server.store.database import Base, Database, DatabaseTrouble, one_at_a_time
from server.store.standings import recount_all

ALL_TABLES = Base.metadata


def migrate(database: Database, revision: str = "head") -> None:
    """Create the tables or bring them up to date: all of it in one transaction, or nothing.

    Standings follow from attempts by rules that change from version to version, so they are counted
    anew after an upgrade.

    Raises DatabaseTrouble when the database can't be opened, is locked or damaged, or was written
    by a newer version of the program.
    """
    try:
        with database.engine.connect() as connection:
            _hold_foreign_keys(connection)
            try:
                with connection.begin():
                    # Several processes start at once.
                    one_at_a_time(connection, "migration")
                    before = _refuse_newer(connection, database.place)
                    command.upgrade(alembic_config(connection), revision)
                    if revision == "head" and before != newest_revision():
                        with Session(connection) as session:
                            recount_all(session)
                            session.flush()
                    _check_foreign_keys(connection, database.place)
            finally:
                # The next user of this connection must find foreign keys on.
                connection.invalidate()
    except DBAPIError as error:
        raise database.explain(error) from error


def newest_revision() -> str | None:
    """Return the revision of the tables that this version of the program expects."""
    return ScriptDirectory(str(MIGRATIONS)).get_current_head()


def alembic_config(connection: Connection) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    return config


def _refuse_newer(connection: Connection, place: str) -> str | None:
    """Return the revision of the tables, None for an empty database."""
    known = {script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    revision = MigrationContext.configure(connection).get_current_revision()
    if revision is not None and revision not in known:
        raise DatabaseTrouble(
            f"The database {place} was written by a newer version of Rungmark "
            f"(its tables are at {revision}). Install that version, "
            "or name another folder with --data."
        )
    return revision


def _hold_foreign_keys(connection: Connection) -> None:
    # A batch migration on SQLite drops a table and makes it anew; with foreign keys on, that
    # deletes the rows that refer to it. The setting can't be changed inside a transaction, and
    # SQLAlchemy would open one.
    if connection.dialect.name == "sqlite":
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys=OFF")


def _check_foreign_keys(connection: Connection, place: str) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if broken:
            raise DatabaseTrouble(
                f"The database {place} has {len(broken)} rows that refer to rows which are gone, "
                f"the first in table {broken[0][0]}. Nothing was changed; restore a backup."
            )
