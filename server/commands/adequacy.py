"""Try a suite on references, on variants with one fault, and on saboteurs."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from typing import Any

from server.commands.exercises import find_exercise
from server.marking.coverage.undemanded import Undemanded, find_all_undemanded
from server.marking.exercise import Exercise
from server.marking.faults.adequacy import Adequacy, Fate, VariantResult, adequacy
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.presentation.scenario_text import scenario_text

ADEQUATE, WANTING, BAD_INPUT = 0, 1, 2
"""Exit status: all told apart; a right program fails, or a wrong one passes; refused."""

EXAMPLES = (
    "rungmark adequacy settling-tank",
    "rungmark adequacy ./my-exercise --json",
)

EXIT_STATUS = {
    0: "the suite catches every wrong program",
    1: "a right program fails, a wrong one passes, or an output is undemanded",
    2: "the exercise can't be read",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("exercise", metavar="EXERCISE", help="slug or folder of the exercise")
    parser.add_argument("--json", action="store_true", help="print the counts as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print the counts and every variant that the suite does not catch."""
    try:
        folder = find_exercise(arguments.exercise)
        exercise = load_exercise(folder)
        programs = load_programs(folder, exercise)
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return BAD_INPUT
    found = adequacy(exercise, programs)
    undemanded = find_all_undemanded(exercise)
    if arguments.json:
        print(json.dumps(counts(found) | coverage(exercise, undemanded)))
    else:
        print("\n".join([*_report(found, exercise), *_coverage(exercise, undemanded)]))
    wanting = (found.right_failed, found.wrong_passed, found.survivors, undemanded)
    return WANTING if any(wanting) else ADEQUATE


def coverage(exercise: Exercise, undemanded: Sequence[Undemanded]) -> dict[str, Any]:
    """Return what is undemanded and what is free in one exercise, as ``--json`` prints it."""
    return {
        "undemanded": [
            {
                "output": each.output,
                "sentence": each.sentence,
                "story": list(each.steps),
                "at_ms": each.at_ms,
                "saboteur": each.saboteur,
            }
            for each in undemanded
        ],
        "free": [
            {"outputs": list(each.outputs), "when": each.when.text, "sentence": each.sentence}
            for each in exercise.free
        ],
    }


def counts(found: Adequacy) -> dict[str, int]:
    """Return the figures of one exercise, as ``--json`` prints them."""
    return {
        "right": found.right,
        "right_failed": len(found.right_failed),
        "wrong": found.wrong,
        "wrong_passed": len(found.wrong_passed),
        "variants": len(found.findings),
        "equivalent": found.count(Fate.SAME, Fate.RIGHT),
        "survived": len(found.survivors),
    }


def _report(found: Adequacy, exercise: Exercise) -> Iterator[str]:

    yield found.exercise
    yield f"  {found.right} right programs, {len(found.right_failed)} of them fail"
    yield from (f"    {name} fails" for name in found.right_failed)
    yield f"  {found.wrong} wrong programs, {len(found.wrong_passed)} of them pass"
    yield from (f"    {name} passes" for name in found.wrong_passed)
    yield (
        f"  {len(found.findings)} variants with one fault: {found.count(Fate.CAUGHT)} caught, "
        f"{found.count(Fate.SAME)} give the same outputs, "
        f"{found.count(Fate.RIGHT)} meet every requirement, {len(found.survivors)} survived"
    )
    for survivor in found.survivors:
        yield from _survivor(survivor, exercise)


def _coverage(exercise: Exercise, undemanded: Sequence[Undemanded]) -> Iterator[str]:
    yield f"  {len(exercise.free)} items are free, {len(undemanded)} outputs undemanded"
    for each in undemanded:
        yield ""
        yield f"  {each.output}: {each.saboteur}. {each.sentence}"
        yield from (f"    {step}" for step in each.steps)


def _survivor(survivor: VariantResult, exercise: Exercise) -> Iterator[str]:

    yield ""
    yield f"  {survivor.original}: {survivor.variant.sentence}"
    number, reason = survivor.requirement, survivor.reason
    if survivor.catches:
        yield f"    {number} fails in this scenario. {reason}".rstrip()
    elif survivor.scenario is not None:
        yield f"    {number} may fail in an order of events that the plant did not take."
    else:
        yield f"    {number} may fail. {reason}"
    if survivor.scenario is not None:
        yield from scenario_text(survivor.scenario, exercise).splitlines()
