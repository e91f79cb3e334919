"""Prove the requirements of a program by exhaustive search."""

import argparse
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.commands.exercises import find_exercise
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.presentation.scenario_words import scenario_words
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import replay_suspicion
from server.marking.proofs.proof import Outcome, Proof, provable, prove

PROVED, NOT_PROVED, BAD_INPUT = 0, 1, 2
"""Exit status: every behavioural requirement proved; some not proved or refuted; refused."""


@dataclass(frozen=True, slots=True)
class _Row:
    proof: Proof
    seconds: float
    steps: tuple[str, ...]

    @property
    def outcome(self) -> Outcome:
        """Refuted only where the suspicion was replayed on the concrete plant."""
        if self.proof.outcome is Outcome.REFUTED and not self.steps:
            return Outcome.OPEN
        return self.proof.outcome

    @property
    def reason(self) -> str:
        if self.proof.outcome is Outcome.REFUTED and not self.steps:
            return "the plant did not take the way that the search suspects"
        return self.proof.reason


EXAMPLES = ("rungmark prove settling-tank my-program.st --json",)

EXIT_STATUS = {
    0: "every requirement that can be proved is proved",
    1: "some requirement is not proved, or refuted",
    2: "a file can't be used",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("exercise", metavar="EXERCISE", help="slug or folder of the exercise")
    parser.add_argument("program", metavar="PROGRAM", help="program as text (.st)")
    parser.add_argument("--json", action="store_true", help="print the outcomes as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Print the outcome for each behavioural requirement."""
    try:
        exercise = load_exercise(find_exercise(arguments.exercise))
        program = read_program(Path(arguments.program), exercise)
    except FileFault as fault:
        print(fault, file=sys.stderr)
        return BAD_INPUT
    numbers = [n for n in range(len(exercise.requirements)) if provable(exercise, n)]
    machines = AbstractMachines(exercise, program)
    rows = [_row(machines, number) for number in numbers]
    if arguments.json:
        print(json.dumps([_document(row) for row in rows], indent=2, ensure_ascii=False))
    else:
        for row in rows:
            print(_report(row))
    return PROVED if all(r.outcome is Outcome.PROVED for r in rows) else NOT_PROVED


def _row(machines: AbstractMachines, number: int) -> _Row:
    begun = time.perf_counter()
    proof = prove(machines, number)
    seconds = time.perf_counter() - begun
    steps: tuple[str, ...] = ()
    if proof.suspicion is not None:
        found = replay_suspicion(machines.exercise, machines.program, number, proof.suspicion)
        if found is not None:
            found_steps = scenario_words(found.scenario)
            steps = tuple(f"{step.when}: {', '.join(step.actions)}" for step in found_steps)
    return _Row(proof, seconds, steps)


def _document(row: _Row) -> dict[str, Any]:
    return {
        "id": row.proof.requirement,
        "outcome": str(row.outcome),
        "reason": row.reason,
        "timers": str(row.proof.timers),
        "states": row.proof.states,
        "transitions": row.proof.transitions,
        "seconds": round(row.seconds, 4),
        "steps": list(row.steps),
    }


def _report(row: _Row) -> str:
    proof = row.proof
    work = f"{proof.states} states, {proof.transitions} transitions, {row.seconds:.3f} s"
    lines = [f"{proof.requirement:5} {row.outcome:12} {proof.timers}; {work}"]
    if row.reason:
        lines.append(f"      {row.reason}")
    lines += [f"      {step}" for step in row.steps]
    return "\n".join(lines)
