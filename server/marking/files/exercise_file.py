"""A folder of ``exercises`` to one checked Exercise; every fault at once, with its place."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from server.marking.exercise import Exercise, FeedbackPolicy, PartialCredit
from server.marking.files.conditions import Conditions
from server.marking.files.document import Document, Fault, FileFault, read_document
from server.marking.files.draws import fill_in, middle, read_parameters
from server.marking.files.exercise_names import note_names, signals_of
from server.marking.files.exercise_schema import ExerciseForm
from server.marking.files.free_items import free_items
from server.marking.files.observer import NO_OBSERVER, own_signals, read_observer
from server.marking.files.placeholders import Draw
from server.marking.files.plant_form import build_plant
from server.marking.files.point_builder import PointBuilder, note_loose_ends
from server.marking.files.reference_programs import program_texts, with_references
from server.marking.files.requirement_builder import RequirementBuilder
from server.marking.files.scenario_builder import ScenarioBuilder
from server.marking.files.schema_faults import validated
from server.marking.files.stand_ins import with_stand_ins
from server.marking.files.suite_hash import suite_hash
from server.marking.files.unreadable import UnreadableFile

FILE_NAME = "exercise.yaml"
SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def load_exercise(folder: Path) -> Exercise:
    """Return the exercise of a folder, its parameters at their middle, with its references.

    Raises FileFault.
    """
    exercise = build_exercise(open_document(folder), folder.resolve().name)
    return with_references(exercise, program_texts(folder))


def open_document(folder: Path) -> Document:
    """Return the exercise file of a folder as a document. Raises FileFault if it can't be read."""
    file = folder / FILE_NAME
    try:
        content = file.read_bytes()
    except OSError as problem:
        said = problem.strerror or "no reason is known"
        raise UnreadableFile(str(file), f"The file can't be read: {said}.") from None
    return read_document(str(file), content)


def list_exercises(root: Path) -> tuple[Path, ...]:
    """Return the folders below ``root`` that hold an exercise, by name."""
    return tuple(sorted(file.parent for file in root.glob(f"*/{FILE_NAME}")))


def exercise_schema() -> dict[str, Any]:
    """Return the JSON schema of ``exercise.yaml``, for editors that check while one types."""
    return ExerciseForm.model_json_schema()


def build_exercise(
    document: Document, slug: str, draw: Draw | None = None, *, stand_ins: bool = False
) -> Exercise:
    """Return the exercise of a document, with the numbers of a draw or those of the middle.

    Raises FileFault with every fault found. Parts of a document with ``stand_ins`` are not its own.
    """
    draw = middle(read_parameters(document)) if draw is None else draw
    document = fill_in(document, draw)
    form = validated(document, ExerciseForm)
    if form is None and not stand_ins:
        document.faults += _hidden_faults(document, slug, draw)
    document.refuse_if_faulty()
    assert form is not None, "a refused form has faults"
    if form.exercise != slug or SLUG.fullmatch(slug) is None:
        document.fault(
            ("exercise",), f"The folder is {slug!r}. Name both alike: lower case, digits and '-'."
        )
    builder = PointBuilder(document)
    points = builder.points(form.points)
    internal_bits = builder.internal_bits(form.internal_bits)
    plant = build_plant(document, ("plant",), form.plant)
    if plant is not None and not document.faults:
        note_loose_ends(document, points, plant)
    # Conditions and scenarios speak of signals, which only sound points and plants have.
    document.refuse_if_faulty()
    assert plant is not None, "a faulty plant has been refused"
    bare = Exercise(
        slug=slug,
        title=form.title,
        version=form.version,
        summary=form.summary,
        statement=form.statement,
        period_ms=form.scan_period,
        points=points,
        internal_bits=internal_bits,
        plant=plant,
        observer=NO_OBSERVER,
        requirements=(),
        scenarios=(),
        feedback=FeedbackPolicy(form.feedback.release, form.feedback.chart_from_attempt),
        outcomes=form.outcomes,
        suite_hash="",
        partial_credit=PartialCredit(form.partial_credit.one_edit, form.partial_credit.two_edits),
        numbers=tuple(draw.items()),
        teaching_order=form.teaching_order,
        tolerance_ms=form.tolerance,
    )
    exercise = _with_suite(document, form, bare)
    document.refuse_if_faulty()
    return replace(exercise, suite_hash=suite_hash(exercise))


def _hidden_faults(document: Document, slug: str, draw: Draw) -> list[Fault]:
    """Return what is wrong beside the faults of form that are noted already."""
    readable = with_stand_ins(document, document.faults)
    if readable is None:
        return []
    try:
        build_exercise(readable, slug, draw, stand_ins=True)
    except FileFault as found:
        return [fault for fault in found.faults if fault not in document.faults]
    return []


def _with_suite(document: Document, form: ExerciseForm, bare: Exercise) -> Exercise:
    """Return the exercise with observer, requirements and scenarios."""
    try:
        signals = signals_of(bare)
    except ValueError as fault:
        document.fault(("plant",), str(fault))
        return bare
    observer = NO_OBSERVER
    if form.observer is not None:
        observer = read_observer(document, ("observer",), form.observer, signals)
    conditions = Conditions(document, signals | own_signals(observer))
    symbols = [p.symbol for p in (*bare.points, *bare.internal_bits)]
    requirements = RequirementBuilder(document, conditions, symbols)
    scenarios = ScenarioBuilder(document, signals, conditions, bare.plant.track)
    note_names(document, form)
    return replace(
        bare,
        observer=observer,
        free=free_items(document, conditions, form.free, bare.points),
        requirements=tuple(
            requirements.requirement(("requirements", number), part)
            for number, part in enumerate(form.requirements)
        ),
        scenarios=tuple(
            scenarios.scenario(("scenarios", number), part)
            for number, part in enumerate(form.scenarios)
        ),
    )
