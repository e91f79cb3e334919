"""Do ahead what a first start takes long for: compile the kernels, load the demo."""

import argparse
from pathlib import Path

from server.commands.progress import loading, say
from server.commands.serve import add_folder

EXAMPLES = (
    "rungmark prepare",
    "rungmark prepare --demo --data data-demo",
)

EXIT_STATUS = {
    0: "prepared",
    2: "a setting or the database can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--demo", action="store_true", help="load the invented course, too")
    add_folder(parser)


def run(arguments: argparse.Namespace) -> int:
    """Prepare the first start and say what is done; 2 if the demo can't be loaded."""
    say("Loading Rungmark …")
    # It loads compiler, database and web, which takes seconds.
    with loading():
        from server.commands.serving import prepare_start  # noqa: PLC0415

    data = arguments.data or Path("data-demo")
    return prepare_start(data if arguments.demo else None)
