"""Where the data folders are: beside the package in the repository, inside it in a wheel."""

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent
_HOME = PACKAGE if (PACKAGE / "templates").is_dir() else PACKAGE.parent

TEMPLATES = _HOME / "templates"
STATIC = _HOME / "static"
EXERCISES = _HOME / "exercises"
MIGRATIONS = _HOME / "migrations"
