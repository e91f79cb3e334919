"""Move everything from one database to another and check it."""

import argparse
from contextlib import closing

from server.commands.database import existing_database, run_on_database, summary
from server.data_folder import nothing_left, unused
from server.store.database import Database
from server.store.transfer import copy

EXAMPLES = ("rungmark copy sqlite:///data/rungmark.db postgresql://lab@localhost/rungmark",)

EXIT_STATUS = {
    0: "copied and checked",
    2: "not copied; TO is as it was",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help="URL: sqlite:///FILE or postgresql://…")
    parser.add_argument("target", metavar="TO", help="URL of an empty database")
    parser.add_argument("--over", action="store_true", help="replace what TO holds")


def run(arguments: argparse.Namespace) -> int:
    """Copy while no server uses either; 2, and TO is as it was, when it can't be done."""

    def work() -> str:
        with (
            existing_database(arguments.source) as source,
            unused(source),
            nothing_left(Database(arguments.target)),
            closing(Database(arguments.target)) as target,
            unused(target),
        ):
            found = copy(source, target, over=arguments.over)
            return f"Copied to {target.place}: {summary(found)}."

    return run_on_database("copy", work)
