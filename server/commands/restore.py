"""Bring back what a backup holds."""

import argparse
from contextlib import closing
from pathlib import Path

from server.commands.database import add_data, own_settings, run_on_database, summary
from server.data_folder import make_folder, nothing_left, unused
from server.store.database import Database
from server.store.transfer import restore

EXAMPLES = (
    "rungmark restore monday.backup --data data",
    "rungmark restore monday.backup --over",
)

EXIT_STATUS = {
    0: "restored and checked",
    2: "not restored; everything is as it was",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="what `rungmark backup` wrote")
    parser.add_argument("--over", action="store_true", help="replace what the database holds")
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """2, and the database is as it was, when it can't be done or a server uses it."""

    def work() -> str:
        database = Database(own_settings(arguments.data).database_url)
        with nothing_left(database):
            if database.is_sqlite:
                make_folder(arguments.data)
            with closing(database), unused(database):
                found = restore(arguments.file, database, over=arguments.over)
                return f"Restored to {database.place}: {summary(found)}."

    return run_on_database("restore", work)
