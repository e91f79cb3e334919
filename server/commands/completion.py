"""Print a script that completes this command's words in a shell."""

import argparse

import shtab

EXAMPLES = (
    "rungmark completion bash > ~/.local/share/bash-completion/completions/rungmark",
    "rungmark completion zsh > ~/.zfunc/_rungmark",
)

EXIT_STATUS = {
    0: "printed",
}

FILES = {
    "FILE": shtab.FILE,
    "PROGRAM": shtab.FILE,
    "DIR": shtab.DIRECTORY,
    "EXERCISE": shtab.DIRECTORY,
}
"""What an argument is completed with, by its placeholder."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", metavar="SHELL", choices=("bash", "zsh"), help="bash or zsh")


def run(arguments: argparse.Namespace) -> int:
    """Print the script; it knows every command and option of this version."""
    # The table of commands imports this file.
    from server.cli import COMMANDS, build_parser  # noqa: PLC0415

    parser = build_parser(COMMANDS)
    _complete_files(parser)
    print(shtab.complete(parser, arguments.shell))
    return 0


def _complete_files(parser: argparse.ArgumentParser) -> None:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                _complete_files(below)
        elif isinstance(action.metavar, str) and action.metavar in FILES:
            action.complete = FILES[action.metavar]  # type: ignore[attr-defined]
