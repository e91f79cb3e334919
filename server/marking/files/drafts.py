"""An exercise that is being written: its texts as they are, whole or faulty.

The texts are what is kept. They may be wrong while somebody writes, so reading a draft never
raises: it gives what could be made of it, and every fault with its place.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from server.ladder.points import PointDeclaration
from server.marking.exercise import Exercise, FeedbackPolicy
from server.marking.files.document import Document, Fault, FileFault, read_document
from server.marking.files.exercise_file import FILE_NAME, build_exercise
from server.marking.files.exercise_schema import PointPart
from server.marking.files.observer import NO_OBSERVER
from server.marking.files.plant_builder import PlantBuilder
from server.marking.files.plant_schema import PlantPart
from server.marking.files.point_builder import PointBuilder
from server.marking.files.reference_programs import (
    ReferenceProgram,
    parse_program,
    reference_program,
)
from server.plant.model import Plant


@dataclass(frozen=True, slots=True)
class Draft:
    """The texts of one exercise: ``exercise.yaml`` and the reference programs by file name."""

    slug: str
    text: str
    programs: dict[str, str]


@dataclass(frozen=True, slots=True)
class Reading:
    """What could be made of a draft.

    ``data`` is None where the text is no YAML, ``exercise`` where it has faults.
    """

    data: dict[str, Any] | None
    exercise: Exercise | None
    faults: tuple[Fault, ...]
    programs: tuple[ReferenceProgram, ...] = ()
    program_faults: tuple[tuple[str, Fault], ...] = ()

    @property
    def sound(self) -> bool:
        return self.exercise is not None and not self.program_faults


def read_draft(draft: Draft) -> Reading:
    """Read all texts of a draft, as far as they can be read."""
    try:
        document = read_document(FILE_NAME, draft.text.encode())
    except FileFault as fault:
        return Reading(None, None, fault.faults)
    data = document.data if isinstance(document.data, dict) else None
    try:
        exercise = build_exercise(document, draft.slug)
    except FileFault as fault:
        return Reading(data, None, fault.faults)
    programs: list[ReferenceProgram] = []
    faults: list[tuple[str, Fault]] = []
    # Right ones first, as in a folder.
    for name, text in sorted(draft.programs.items()):
        try:
            program = parse_program(name, text.encode(), exercise)
            programs.append(reference_program(Path(name), program, exercise))
        except FileFault as fault:
            faults += [(name, each) for each in fault.faults]
    return Reading(data, exercise, (), tuple(programs), tuple(faults))


def points_and_plant(
    data: dict[str, Any],
) -> tuple[tuple[PointDeclaration, ...], Plant | None]:
    """What can be drawn of a draft already, whatever is still wrong elsewhere in it."""
    scratch = Document(FILE_NAME)
    parts = []
    for row in data.get("points") or ():
        try:
            parts.append(PointPart.model_validate(row))
        except ValidationError:
            continue
    points = tuple(p for p in PointBuilder(scratch).points(parts) if p.description and p.device)
    if scratch.faults:
        points = ()
    try:
        form = PlantPart.model_validate(data.get("plant") or {})
    except ValidationError:
        return points, None
    return points, PlantBuilder(Document(FILE_NAME), ("plant",)).plant(form)


def bare_exercise(data: dict[str, Any]) -> Exercise | None:
    """Points and plant of a draft as an exercise without requirements; None if faulty."""
    points, plant = points_and_plant(data)
    if plant is None:
        return None
    return Exercise(
        *("draft", "Draft", 1, "", "", 10, points, (), plant, NO_OBSERVER, (), ()),
        FeedbackPolicy(),
        {},
        "",
    )


def new_text(slug: str, title: str) -> str:
    """What an author begins with."""
    return (
        f"exercise: {slug}\ntitle: {title}\nversion: 1\nsummary: ''\noutcomes: {{}}\n"
        "statement: ''\npoints: []\nplant: {}\nrequirements: []\nscenarios: []\n"
    )
