"""Check an exercise: its file, its suite and its reference programs."""

import argparse
import sys

from server.commands.exercises import find_exercise
from server.marking.authoring.exercise_check import check_exercise
from server.marking.files.document import FileFault

SOUND, FINDINGS, BAD_INPUT = 0, 1, 2
"""Exit status: nothing to fix; reference programs marked otherwise than stated; refused."""

EXAMPLES = (
    "rungmark check settling-tank",
    "rungmark check ./my-exercise",
)

EXIT_STATUS = {
    0: "nothing to fix",
    1: "a reference program is marked otherwise than stated",
    2: "the exercise can't be read",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("exercise", metavar="EXERCISE", help="slug or folder of the exercise")


def run(arguments: argparse.Namespace) -> int:
    """Print every fault as file:line:column, then advice, then a line that sums up."""
    try:
        report = check_exercise(find_exercise(arguments.exercise))
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return BAD_INPUT
    for line in (*report.findings, *report.advice):
        print(line)
    print(report.summary)
    return FINDINGS if report.findings else SOUND
