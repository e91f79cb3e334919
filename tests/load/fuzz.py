"""Damaged programs and exercise files through parser, compiler and kernel.

    uv run python -m tests.load.fuzz --count 10000

makes so many programs (texts, JSON and XML in turn) and so many exercise files, each with a few
things changed at random. Each must be refused with messages, or run: a program like the plain
interpreter, an exercise through its acceptance run, which must end within the bound on scenarios.
The seed of whatever crashes, or is not done after a minute, is printed; exit status 1 then.
"""

import argparse
import faulthandler
import os
import sys
import traceback
from collections import Counter
from collections.abc import Callable
from time import process_time

from tests.fuzzed import exercise_file, program

LONGEST_SECONDS = 60


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=10_000, help="programs, and exercise files")
    parser.add_argument("--first", type=int, default=0, help="seed of the first one")
    arguments = parser.parse_args()
    os.nice(10)
    seeds = range(arguments.first, arguments.first + arguments.count)
    crashed = sum(run(name, seeds) for name in FUZZED)
    return int(crashed > 0)


FUZZED: dict[str, Callable[[int], str]] = {"program": program, "exercise file": exercise_file}


def run(name: str, seeds: range) -> int:
    """How many crashed."""
    outcomes: Counter[str] = Counter()
    slowest = (0.0, -1)
    for seed in seeds:
        begun = process_time()
        faulthandler.dump_traceback_later(LONGEST_SECONDS, exit=True)
        try:
            outcomes[FUZZED[name](seed)] += 1
        except Exception:
            outcomes["crashed"] += 1
            print(f"{name} {seed}:\n{traceback.format_exc()}", flush=True)
        faulthandler.cancel_dump_traceback_later()
        slowest = max(slowest, (process_time() - begun, seed))
    told = ", ".join(f"{outcome}: {number}" for outcome, number in sorted(outcomes.items()))
    print(f"{len(seeds)} of {name}: {told}; longest {slowest[0]:.2f} s (seed {slowest[1]})")
    return outcomes["crashed"]


if __name__ == "__main__":
    sys.exit(main())
