"""The exercises of one folder, by slug; each is read when first asked for, and kept."""

import logging
import re
from pathlib import Path

from server.ladder.program import Program, Variable
from server.marking.document import FileFault
from server.marking.exercise import Exercise
from server.marking.exercise_file import load_exercise

SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

log = logging.getLogger(__name__)


class Catalogue:
    """``find`` gives None for an exercise that is missing or can't be read; the log says why."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._read: dict[str, Exercise] = {}

    def find(self, slug: str) -> Exercise | None:
        if slug not in self._read and SLUG.fullmatch(slug):
            try:
                self._read[slug] = load_exercise(self._folder / slug)
            except (FileFault, OSError) as fault:
                log.error("exercise %s: %s", slug, fault)
        return self._read.get(slug)


def start_program(exercise: Exercise) -> Program:
    """What a student begins with: every point and named bit declared, and no rung."""
    declared = (*exercise.points, *exercise.internal_bits)
    return Program(
        exercise.slug.replace("-", "_"),
        tuple(
            Variable(point.symbol.lower(), point.type, point.address, comment=point.label)
            for point in declared
        ),
    )
