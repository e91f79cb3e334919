"""An exercise that is being written: its texts as they are, whole or faulty.

The texts are what is kept. They may be wrong while somebody writes, so reading a draft never
raises: it gives what could be made of it, and every fault with its place.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from server.ladder.points import PointDeclaration
from server.marking.exercise import Exercise
from server.marking.files.document import Document, Fault, FileFault, read_document
from server.marking.files.draws import corners, describe_draw, fill_in, middle, read_parameters
from server.marking.files.exercise_file import FILE_NAME, build_exercise
from server.marking.files.exercise_schema import PointPart
from server.marking.files.placeholders import Draw
from server.marking.files.plant_form import PlantForm, build_plant
from server.marking.files.point_builder import PointBuilder
from server.marking.files.reference_programs import (
    ReferenceProgram,
    parse_program,
    reference_program,
)
from server.plant.plant import Plant

_plant_form = TypeAdapter(PlantForm)

MAX_PROGRAM_BYTES = 600_000
"""Of all reference programs of an exercise together."""


@dataclass(frozen=True, slots=True)
class Draft:
    """The texts of one exercise: ``exercise.yaml`` and the reference programs by file name."""

    slug: str
    text: str
    programs: dict[str, str]


@dataclass(frozen=True, slots=True)
class DraftReading:
    """What could be made of a draft.

    ``data`` is None where the text is no YAML, ``exercise`` where it has faults. ``filled`` is the
    data with numbers for parameters; ``corners`` are the readings with all of them at their lowest
    and all at their highest.
    """

    data: dict[str, Any] | None
    exercise: Exercise | None
    faults: tuple[Fault, ...]
    programs: tuple[ReferenceProgram, ...] = ()
    program_faults: tuple[tuple[str, Fault], ...] = ()
    filled: dict[str, Any] = field(default_factory=dict)
    corners: tuple["DraftReading", ...] = ()

    @property
    def sound(self) -> bool:
        return self.exercise is not None and not self.program_faults


def read_draft(draft: Draft) -> DraftReading:
    """Read all texts of a draft, as far as they can be read."""
    try:
        document = read_document(FILE_NAME, draft.text.encode())
    except FileFault as fault:
        return DraftReading(None, None, fault.faults)
    try:
        parameters = read_parameters(document)
    except FileFault as fault:
        data = document.data if isinstance(document.data, dict) else None
        return DraftReading(data, None, fault.faults, filled=data or {})
    found = _read(draft, document, middle(parameters))
    if not found.sound:
        return found
    at_corners = tuple(_read(draft, document, draw) for draw in corners(parameters))
    for corner, draw in zip(at_corners, corners(parameters), strict=True):
        if not corner.sound:
            return _with_faults_of(found, corner, f"With {describe_draw(draw)}: ")
    return replace(found, corners=at_corners)


def _read(draft: Draft, document: Document, draw: Draw) -> DraftReading:
    """Return a draft with the numbers of one draw."""
    data = document.data if isinstance(document.data, dict) else None
    filled = fill_in(document.afresh(), draw).data if data is not None else {}
    try:
        # What is wrong with one draw is not wrong with the others.
        exercise = build_exercise(document.afresh(), draft.slug, draw)
    except FileFault as fault:
        return DraftReading(data, None, fault.faults, filled=filled)
    programs: list[ReferenceProgram] = []
    faults: list[tuple[str, Fault]] = []
    # Right ones first, as in a folder.
    for name, text in sorted(draft.programs.items()):
        try:
            program = parse_program(name, text.encode(), exercise)
            programs.append(reference_program(Path(name), program, exercise))
        except FileFault as fault:
            faults += [(name, each) for each in fault.faults]
    exercise = replace(exercise, references=tuple(p.program for p in programs if p.right))
    return DraftReading(data, exercise, (), tuple(programs), tuple(faults), filled)


def _with_faults_of(reading: DraftReading, corner: DraftReading, numbers: str) -> DraftReading:
    """Return what is sound in the middle, but not at a corner."""

    def said(fault: Fault) -> Fault:
        return replace(fault, sentence=f"{numbers}{fault.sentence}")

    return replace(
        reading,
        exercise=None if corner.faults else reading.exercise,
        faults=tuple(map(said, corner.faults)),
        program_faults=tuple((name, said(fault)) for name, fault in corner.program_faults),
    )


def numbers_of(draft: Draft) -> Draw:
    """Return what its author sees for parameters; nothing where they can't be read."""
    try:
        return middle(read_parameters(read_document(FILE_NAME, draft.text.encode())))
    except FileFault:
        return {}


def points_and_plant(
    data: dict[str, Any],
) -> tuple[tuple[PointDeclaration, ...], Plant | None]:
    """Return what can be drawn of a draft already, whatever is still wrong elsewhere in it."""
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
        form = _plant_form.validate_python(data.get("plant") or {})
    except ValidationError:
        return points, None
    return points, build_plant(Document(FILE_NAME), ("plant",), form)


def new_text(slug: str, title: str) -> str:
    """Return what an author begins with."""
    return (
        f"exercise: {slug}\ntitle: {title}\nversion: 1\nsummary: ''\noutcomes: {{}}\n"
        "statement: ''\npoints: []\nplant: {}\nrequirements: []\nscenarios: []\n"
    )
