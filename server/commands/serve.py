"""Serve the course pages on this machine."""

import argparse
from pathlib import Path

from server.commands.progress import loading, say

EXAMPLES = (
    "rungmark serve --demo",
    "rungmark serve --host 0.0.0.0 --port 8080 --data /srv/rungmark/data",
)

EXIT_STATUS = {
    0: "stopped",
    2: "it can't begin: a setting, the address or the database can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--demo", action="store_true", help="load an invented course")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    parser.add_argument("--port", type=port_number, default=8131, help="(%(default)s)")
    add_folder(parser)


def add_folder(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data",
        type=Path,
        metavar="DIR",
        help="folder of the database (data, and data-demo for the demo)",
    )


def port_number(text: str) -> int:
    if text.isdecimal() and 0 < int(text) < 65536:
        return int(text)
    raise argparse.ArgumentTypeError(f"{text!r} is no port; name a number from 1 to 65535")


def run(arguments: argparse.Namespace) -> int:
    """Serve until stopped; 2 if it can't begin, with one sentence that says why."""
    say("Loading Rungmark …")
    # It loads compiler, database and web, which takes seconds.
    with loading():
        from server.commands.serving import serve_pages  # noqa: PLC0415

    data = arguments.data or Path("data-demo" if arguments.demo else "data")
    return serve_pages(data, arguments.host, arguments.port, demo=arguments.demo)
