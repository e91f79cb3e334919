"""The rungmark command: one subcommand per file of server/commands/.

A file there has ``add_arguments(parser)`` and ``run(arguments) -> int`` (the exit status), and a
docstring whose first line is its help. It is imported only when named, so that `rungmark --help`
does not wait for a compiler; the table below therefore repeats that first line.
"""

import argparse
import importlib
import sys
from collections.abc import Sequence

COMMANDS = {
    "serve": "Serve the course pages on this machine.",
    "prepare": "Do ahead what a first start takes long for: compile the kernels, load the demo.",
    "work": "Mark submissions, beside web processes on PostgreSQL.",
    "backup": "Write everything that the server keeps to one file.",
    "restore": "Bring back what a backup holds.",
    "retention": "List the students whose data is past its time; erase them when told to.",
    "copy": "Move everything from one database to another and check it.",
    "audit": "Check that the log of who did what is whole, and print a range of it as CSV.",
    "account": "Add the first administrator, and help whoever can't sign in.",
    "mark": "Mark programs against an exercise's acceptance suite.",
    "check": "Check an exercise: its file, its suite and its reference programs.",
    "prove": "Prove the requirements of a program by exhaustive search.",
    "bench": "Measure kernel, acceptance run, search and stress run, each beside its bar.",
    "adequacy": "Try a suite on references, on variants with one fault, and on saboteurs.",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one subcommand; return its exit status (2 for wrong usage)."""
    words = list(sys.argv[1:] if argv is None else argv)
    parser = argparse.ArgumentParser(
        prog="rungmark",
        description="A course server for control-logic lab exercises.",
        epilog="`rungmark COMMAND --help` lists the options of one command.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    named = words[0] if words else ""
    for name, summary in COMMANDS.items():
        command = commands.add_parser(name, help=summary, description=summary)
        if name == named:
            importlib.import_module(f"server.commands.{name}").add_arguments(command)
    arguments = parser.parse_args(words)
    status: int = importlib.import_module(f"server.commands.{arguments.command}").run(arguments)
    return status


if __name__ == "__main__":
    sys.exit(main())
