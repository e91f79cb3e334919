"""Full marks of right programs: how long they take, and how much of them is proved."""

from collections.abc import Sequence
from pathlib import Path
from statistics import median
from time import process_time_ns

from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.marking import mark
from server.marking.proofs.proof import provable


def mark_right_programs(folders: Sequence[Path]) -> tuple[dict[str, list[float]], float]:
    """Mark every right program of some exercises, warm.

    Return milliseconds of processor time by slug, one for each program, and the share of the
    requirements on behavior that are proved.
    """
    took: dict[str, list[float]] = {}
    proved = judged = 0
    for folder in folders:
        exercise = load_exercise(folder)
        right = [each.program for each in load_programs(folder, exercise) if each.right]
        mark(exercise, right[0])  # loads the compiled kernels, and what follows from the exercise
        for program in right:
            begin = process_time_ns()
            verdict = mark(exercise, program)
            took.setdefault(folder.name, []).append((process_time_ns() - begin) / 1e6)
            for number, requirement in enumerate(verdict.requirements):
                judged += provable(exercise, number)
                proved += provable(exercise, number) and "proved" in requirement.known_by
    return took, proved / judged


def median_and_slowest(took: dict[str, list[float]]) -> tuple[float, float]:
    """Return the median of all programs, and the slowest."""
    whole = [each for times in took.values() for each in times]
    return median(whole), max(whole)
