"""Mark programs against an exercise's acceptance suite."""

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from server.commands.exercises import find_exercise
from server.ladder.names import listed
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.marking import mark
from server.marking.verdict import Verdict

MET, NOT_MET, BAD_INPUT = 0, 1, 2
"""Exit status: all requirements met by all programs; some not met or not exercised; refused."""

EXAMPLES = (
    "rungmark mark settling-tank my-program.st",
    "rungmark mark ./my-exercise a.st b.st --json",
)

EXIT_STATUS = {
    0: "every program meets every requirement",
    1: "some requirement is not met or not reached",
    2: "a file can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("exercise", metavar="EXERCISE", help="slug or folder of the exercise")
    parser.add_argument("programs", metavar="PROGRAM", nargs="+", help="program as text (.st)")
    parser.add_argument("--json", action="store_true", help="print the verdicts as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print one verdict for each program; what can't be marked is reported on standard error."""
    try:
        exercise = load_exercise(find_exercise(arguments.exercise))
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return BAD_INPUT
    status = MET
    documents = []
    for name in arguments.programs:
        try:
            verdict = mark(exercise, read_program(Path(name), exercise))
        except FileFault as fault:
            print(fault, file=sys.stderr)
            status = BAD_INPUT
            continue
        status = max(status, MET if verdict.all_met else NOT_MET)
        documents.append(_document(name, verdict))
        if not arguments.json:
            print(_report(name, verdict))
    if arguments.json:
        print(json.dumps(documents, indent=2, ensure_ascii=False))
    return status


def _document(program: str, verdict: Verdict) -> dict[str, Any]:
    return {
        "exercise": verdict.exercise,
        "program": program,
        "score": verdict.score,
        "max_score": verdict.max_score,
        "requirements": [
            {
                "id": r.id,
                "status": str(r.status),
                "known_by": r.known_by,
                "covers": r.covers,
                "not_proved": r.not_proved,
                "sentence": r.sentence,
                "scenario": r.evidence.scenario if r.evidence else None,
                "at_ms": r.evidence.at_ms if r.evidence else None,
                "cause": asdict(cause) if (cause := verdict.cause_of(r.id)) else None,
            }
            for r in verdict.requirements
        ],
        "second_look": [
            {
                "output": d.output,
                "sentence": d.sentence,
                "at_ms": d.at_ms,
                "found_by": d.found_by,
                "steps": d.steps,
            }
            for d in verdict.second_look
        ],
    }


def _report(program: str, verdict: Verdict) -> str:
    lines = [f"{program}: {verdict.score:g} of {verdict.max_score:g} points"]
    for r in verdict.requirements:
        detail = r.sentence or r.known_by
        lines.append(f"  {r.id:<5}{r.status.word:<15}{detail}")
    lines += [
        f"  one cause for {listed(cause.requirements)}: {cause.change}" for cause in verdict.causes
    ]
    lines += [f"  second look: {d.sentence} (found by {d.found_by})" for d in verdict.second_look]
    if verdict.fault:
        lines.append(f"  {verdict.fault}")
    return "\n".join(lines)
