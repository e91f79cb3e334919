"""Write everything that the server keeps to one file."""

import argparse
from contextlib import closing
from pathlib import Path

from server.commands.database import add_data, own_database, run_on_database, summary
from server.store.transfer import back_up


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="a new file")
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write a backup; the server may run meanwhile.

    Return 2, and write no file, when it can't be written.
    """

    def work() -> str:
        with closing(own_database(arguments.data)) as database:
            return f"Backup {arguments.file}: {summary(back_up(database, arguments.file))}."

    return run_on_database("backup", work)
