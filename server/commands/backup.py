"""Write everything that the server keeps to one file."""

import argparse
from pathlib import Path

from server.commands.database import add_data, own_database, run_on_database, summary
from server.store.transfer import back_up

EXAMPLES = ("rungmark backup monday.backup --data /srv/rungmark/data",)

EXIT_STATUS = {
    0: "written and checked",
    2: "not written: the file exists, or the database can't be read",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="a new file")
    add_data(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write a backup; the server may run meanwhile.

    Return 2, and write no file, when it can't be written.
    """

    def work() -> str:
        with own_database(arguments.data) as database:
            return f"Backup {arguments.file}: {summary(back_up(database, arguments.file))}."

    return run_on_database("backup", work)
