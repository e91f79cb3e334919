"""The rungmark command: one subcommand per file of server/commands/.

A file there has ``add_arguments(parser)`` and ``run(arguments) -> int`` (the exit status), the
constants ``EXAMPLES`` and ``EXIT_STATUS`` for its help, and a docstring whose first line is its
summary. It is imported only when named, so that `rungmark --help` does not wait for a compiler; the
table below therefore repeats that first line.
"""

import argparse
import importlib
import os
import sys
from collections.abc import Collection, Mapping, Sequence
from importlib.metadata import version

from server.commands.progress import loading

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
    "bench": "Measure kernel, acceptance run, search, stress run and mark, each beside its bar.",
    "adequacy": "Try a suite on references, on variants with one fault, and on saboteurs.",
    "completion": "Print a script that completes this command's words in a shell.",
}

USAGE = 2
"""Exit status of a wrong command line, and of what can't be begun."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one subcommand; return its exit status (2 for wrong usage)."""
    words = list(sys.argv[1:] if argv is None else argv)
    arguments = build_parser(words[:1]).parse_args(words)
    module = importlib.import_module(f"server.commands.{arguments.command}")
    try:
        status: int = module.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the output has had enough, as `head` has; Python would write at exit, too.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return status


def build_parser(named: Collection[str]) -> argparse.ArgumentParser:
    """Return the parser of all commands; those that are not named have no arguments yet."""
    parser = argparse.ArgumentParser(
        prog="rungmark",
        description="A course server for control-logic lab exercises.",
        epilog="`rungmark COMMAND --help` lists the options of one command, with examples.",
    )
    parser.add_argument("--version", action=_ShowVersion, help="print the versions and exit")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        command = commands.add_parser(
            name,
            help=summary,
            description=summary,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if name in named:
            with loading():
                module = importlib.import_module(f"server.commands.{name}")
            module.add_arguments(command)
            command.epilog = _epilog(module.EXAMPLES, module.EXIT_STATUS)
    return parser


def _epilog(examples: Sequence[str], statuses: Mapping[int, str]) -> str:
    wrong = [statuses[USAGE]] if USAGE in statuses else []
    return "\n".join(
        [
            "examples:",
            *(f"  {each}" for each in examples),
            "",
            "exit status:",
            *(f"  {status}  {meaning}" for status, meaning in statuses.items() if status != USAGE),
            f"  {USAGE}  {'; '.join(['the command line is wrong', *wrong])}",
        ]
    )


class _ShowVersion(argparse.Action):
    """Prints the version of the program and that of the engine, which is in every verdict."""

    def __init__(self, option_strings: Sequence[str], dest: str, help: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help=help)

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        engine = importlib.import_module("server.scan.engine_version").ENGINE_VERSION
        print(f"rungmark {version('rungmark')} (engine {engine})")
        parser.exit()


if __name__ == "__main__":
    sys.exit(main())
