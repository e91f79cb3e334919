"""A full acceptance run, warm, in this process."""

from pathlib import Path
from time import thread_time_ns

from server.bench.spread import Spread, spread
from server.marking.acceptance import acceptance_run
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import load_programs


def acceptance_ms(folder: Path, rounds: int = 15) -> Spread:
    """Return milliseconds of processor time to mark each right program so many rounds."""
    exercise = load_exercise(folder)
    right = [p.program for p in load_programs(folder, exercise) if p.right]
    runs: list[float] = []
    for number in range(rounds + 1):
        for program in right:
            begin = thread_time_ns()
            acceptance_run(exercise, program)
            if number:  # the first round loads the compiled kernels
                runs.append((thread_time_ns() - begin) / 1e6)
    return spread(runs)
