"""Which exercise a command means."""

from pathlib import Path

from server.marking.files.exercise_file import FILE_NAME, list_exercises
from server.marking.files.unreadable import UnreadableFile
from server.paths import EXERCISES


def find_exercise(name: str) -> Path:
    """Return the folder of an exercise named by slug or by path. Raises UnreadableFile."""
    for folder in (Path(name), EXERCISES / name):
        if (folder / FILE_NAME).is_file():
            return folder
    known = ", ".join(folder.name for folder in list_exercises(EXERCISES))
    sentence = f"There is no exercise {name!r}: no folder of this name holds {FILE_NAME}."
    raise UnreadableFile(name, f"{sentence} Shipped are {known}.")
