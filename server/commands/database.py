"""What the commands on databases share: naming one, and telling what it holds."""

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from server.data_folder import keep_private
from server.settings import Settings, SettingTrouble, read_settings
from server.store.database import Database, DatabaseTrouble
from server.store.transfer import Content

SUMMARIZED = ("users", "submissions", "verdicts")


def add_data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data",
        type=Path,
        metavar="DIR",
        default=Path("data"),
        help="folder of the database (%(default)s), unless RUNGMARK_DATABASE_URL names another",
    )


def own_settings(data: Path, port: int = 8131) -> Settings:
    """Return the settings of `rungmark serve` with the same folder, port and environment."""
    return read_settings(data, "127.0.0.1", port)


@contextmanager
def existing_database(url: str) -> Iterator[Database]:
    """Yield a database that is there already, and close it.

    Raises DatabaseTrouble when there is none, or when it can't be used.
    """
    with closing(Database(url)) as database:
        name = database.address.database
        if database.is_sqlite and not (name and Path(name).is_file()):
            raise DatabaseTrouble(
                f"There is no database {database.place}. "
                "Name the folder of a server with --data, or the file in the URL."
            )
        try:
            yield database
        except DBAPIError as error:
            raise database.explain(error) from error


def own_database(data: Path) -> AbstractContextManager[Database]:
    """Yield the database that `rungmark serve` uses with the same folder and environment."""
    return existing_database(own_settings(data).database_url)


def run_on_database(name: str, work: Callable[[], str]) -> int:
    """Do it and print what it says; 2 with one sentence when the database can't be used.

    What it writes is readable by this user alone.
    """
    keep_private()
    try:
        print(work())
    except (DatabaseTrouble, SettingTrouble) as trouble:
        return refuse(name, trouble)
    return 0


def refuse(name: str, trouble: Exception) -> int:
    """Print each line of what went wrong to standard error; return the exit status."""
    for line in str(trouble).splitlines():
        print(f"rungmark {name}: {line}", file=sys.stderr)
    return 2


def summary(found: Mapping[str, Content]) -> str:
    """Return the rows that matter, and the fingerprint of the verdicts."""
    rows = sum(content.rows for content in found.values())
    named = ", ".join(f"{found[name].rows} {name}" for name in SUMMARIZED)
    print_of_verdicts = found["verdicts"].fingerprint[:16]
    return f"{rows} rows in {len(found)} tables ({named}); verdicts {print_of_verdicts}, checked"
