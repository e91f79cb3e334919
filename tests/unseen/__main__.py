"""Write the programs of this folder as text files, one folder for each exercise.

uv run python -m tests.unseen FOLDER
"""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.paths import EXERCISES

HERE = Path(__file__).parent


def programs(exercise: Exercise, compact: str) -> Iterator[tuple[str, str]]:
    """Yield the name and the text of each program."""
    points = (*exercise.points, *exercise.internal_bits)
    for block in re.split(r"^=== ", compact, flags=re.MULTILINE)[1:]:
        name, *lines = block.splitlines()
        head = ["// expect: right"] if name.startswith("right") else []
        head += [f"// {line}" for line in lines if re.match(r"(fails|not exercised|why):", line)]
        own = [line.removeprefix("var:").strip() for line in lines if line.startswith("var:")]
        rungs = [line for line in lines if not re.match(r"(fails|not exercised|why|var):", line)]
        taken = {variable.split()[0].lower() for variable in own}
        declared = [
            f"{point.symbol} AT {point.address} : {point.type};"
            for point in points
            if point.symbol.lower() not in taken
        ]
        begin = [*head, f"PROGRAM {exercise.slug.replace('-', '_')}", "VAR", *declared, *own]
        yield name.strip(), "\n".join([*begin, "END_VAR", *rungs, "END_PROGRAM", ""])


def main(folder: Path) -> int:
    for source in sorted(HERE.glob("*.txt")):
        target = folder / source.stem
        target.mkdir(parents=True, exist_ok=True)
        found = dict(programs(load_exercise(EXERCISES / source.stem), source.read_text()))
        for name, text in found.items():
            (target / f"{name}.st").write_text(text)
        print(source.stem, len(found))
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
