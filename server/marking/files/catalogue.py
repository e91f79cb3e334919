"""The exercises of one folder, by slug; each is read when first asked for, and kept.

An exercise with parameters is built for each draw of its numbers.
"""

import logging
import re
from collections.abc import Callable, Mapping
from math import inf
from pathlib import Path

from server.ladder.program import Program, Variable
from server.marking.exercise import Exercise
from server.marking.files.document import Document, FileFault, read_document
from server.marking.files.drafts import Draft
from server.marking.files.draws import drawn, read_parameters
from server.marking.files.exercise_file import (
    FILE_NAME,
    build_exercise,
    list_exercises,
    open_document,
)
from server.marking.files.reference_programs import program_texts, with_references

SANDBOX_PREFIX = "bench."
"""Begins the name under which a draft is set for its author alone."""

DRAWS_KEPT = 500
"""Draws of one exercise that are kept, the oldest given up first."""

SLUG = re.compile(r"(?:bench\.)?[a-z0-9]+(?:-[a-z0-9]+)*")

log = logging.getLogger(__name__)


class Drawable:
    """One sound exercise file, and what was built from it. Raises FileFault if it is not sound."""

    def __init__(self, document: Document, slug: str, programs: Mapping[str, str]) -> None:
        self._document, self._slug, self._programs = document, slug, programs
        self._parameters = read_parameters(document)
        self._built: dict[tuple[str, ...], Exercise] = {}
        self.exercise()

    def exercise(self, seed: str = "") -> Exercise:
        """Return the exercise with the numbers that a seed draws.

        The same object for the same numbers.

        Raises FileFault where these numbers do not fit.
        """
        draw = drawn(self._parameters, seed)
        key = tuple(draw.values())
        found = self._built.get(key)
        if found is None:
            bare = build_exercise(self._document.afresh(), self._slug, draw)
            found = with_references(bare, self._programs)
            self._built[key] = found
            if len(self._built) > DRAWS_KEPT:
                self._built.pop(next(iter(self._built)), None)
        return found


class Catalogue:
    """``find`` gives None for an exercise that is missing or can't be read; the log says why.

    ``published`` gives the texts of an exercise that is kept elsewhere, by the slug under which it
    is set; the folder comes first. It is asked each time, so that every process marks with the
    newest version.
    """

    def __init__(self, folder: Path, published: Callable[[str], Draft | None] | None = None):
        self._folder = folder
        self._published = published
        self._read: dict[str, Drawable] = {}
        self._kept: dict[str, tuple[str, Drawable | None]] = {}

    def find(self, slug: str, seed: str = "") -> Exercise | None:
        """Return the exercise with the numbers that a seed draws.

        Those of the middle without one.
        """
        try:
            found = self._find(slug)
            return found.exercise(seed) if found is not None else None
        except (FileFault, OSError) as fault:
            log.error("exercise %s: %s", slug, fault)
            return None

    def _find(self, slug: str) -> Drawable | None:
        if slug in self._read:
            return self._read[slug]
        if SLUG.fullmatch(slug) is None:
            return None
        draft = None if self.ships(slug) or not self._published else self._published(slug)
        if draft is not None:
            return self._find_kept(slug, draft)
        folder = self._folder / slug
        self._read[slug] = Drawable(open_document(folder), slug, program_texts(folder))
        return self._read[slug]

    def _find_kept(self, slug: str, draft: Draft) -> Drawable | None:
        kept = self._kept.get(slug)
        if kept is not None and kept[0] == draft.text:
            return kept[1]
        self._kept[slug] = draft.text, None
        found = Drawable(read_document(slug, draft.text.encode()), draft.slug, draft.programs)
        self._kept[slug] = draft.text, found
        return found

    def ships(self, slug: str) -> bool:
        """Return whether the folder has an exercise of this name."""
        return (self._folder / slug / FILE_NAME).is_file()

    def slugs(self) -> list[str]:
        """Return the names of the folder's exercises."""
        return [path.name for path in list_exercises(self._folder)]

    def shipped(self) -> list[Exercise]:
        """Return every exercise of the folder that can be read, in teaching order."""
        found = map(self.find, self.slugs())
        return sorted(
            (exercise for exercise in found if exercise is not None),
            key=lambda each: (each.teaching_order or inf, each.slug),
        )

    def source(self, slug: str) -> Draft:
        """Return the texts of an exercise of the folder. Raises OSError."""
        folder = self._folder / slug
        return Draft(slug, (folder / FILE_NAME).read_text("utf-8"), program_texts(folder))


def start_program(exercise: Exercise) -> Program:
    """Return what a student begins with: every point and named bit declared, and no rung."""
    declared = (*exercise.points, *exercise.internal_bits)
    return Program(
        exercise.slug.replace("-", "_"),
        tuple(
            Variable(point.symbol.lower(), point.type, point.address, comment=point.label)
            for point in declared
        ),
    )
