"""Move everything from one database to another and check it."""

import argparse

from server.commands.database import run_on_database, summary, with_database
from server.data_folder import held_alone
from server.store.transfer import copy


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help="URL: sqlite:///FILE or postgresql://…")
    parser.add_argument("target", metavar="TO", help="URL of an empty database")
    parser.add_argument("--over", action="store_true", help="replace what TO holds")


def run(arguments: argparse.Namespace) -> int:
    """Copy while no server writes to FROM; 2, and TO is as it was, when it can't be done."""

    def work() -> str:
        with (
            with_database(arguments.source) as source,
            with_database(arguments.target) as target,
            held_alone(target),
        ):
            found = copy(source, target, over=arguments.over)
            return f"Copied to {target.place}: {summary(found)}."

    return run_on_database("copy", work)
