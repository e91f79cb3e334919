"""Bring back what a backup holds."""

import argparse
from contextlib import closing
from pathlib import Path

from server.commands.database import add_data, own_database, run_on_database, summary
from server.data_folder import held_alone, make_folder
from server.store.transfer import restore


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="what `rungmark backup` wrote")
    parser.add_argument("--over", action="store_true", help="replace what the database holds")
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """2, and the database is as it was, when it can't be done or a server uses it."""

    def work() -> str:
        database = own_database(arguments.data)
        if database.is_sqlite:
            make_folder(arguments.data)
        with closing(database), held_alone(database):
            found = restore(arguments.file, database, over=arguments.over)
            return f"Restored to {database.place}: {summary(found)}."

    return run_on_database("restore", work)
