"""Whether an exercise is any good: its suite tells its right programs from its wrong ones."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from server.marking.exercise import Exercise
from server.marking.files.document import Document
from server.marking.files.draws import corners, describe_draw, read_parameters
from server.marking.files.exercise_file import build_exercise, open_document
from server.marking.files.reference_programs import ReferenceProgram, load_programs
from server.marking.marking import Effort, mark
from server.marking.verdict import Status

OPEN_AT_MOST = 3
RIGHT_AT_LEAST, WRONG_AT_LEAST = 2, 8


WITHOUT_CAUSES = Effort(edits=0)


@dataclass(frozen=True, slots=True)
class CheckReport:
    """``findings`` are programs marked otherwise than stated, ``advice`` is what could be better.

    Both are lines that begin with the file; ``summary`` is one line.
    """

    findings: tuple[str, ...]
    advice: tuple[str, ...]
    summary: str


def check_exercise(folder: Path, efforts: Sequence[Effort] = (WITHOUT_CAUSES,)) -> CheckReport:
    """Load an exercise and mark its reference programs. Raises FileFault.

    A program that is marked otherwise than stated is marked again with the next of the ``efforts``.
    With parameters all are marked at the middle, the lowest and the highest values.
    """
    document = open_document(folder)
    slug = folder.resolve().name
    exercise = build_exercise(document, slug)
    programs = load_programs(folder, exercise)
    findings = [*_surprises(exercise, programs, efforts)]
    for draw in corners(read_parameters(document)):
        other = build_exercise(document, slug, draw)
        numbers = f" With {describe_draw(draw)}."
        findings += _surprises(other, load_programs(folder, other), efforts, numbers)
    _advise(document, exercise, programs)
    counted = (
        f"{len(exercise.requirements)} requirements, {len(exercise.scenarios)} scenarios, "
        f"{len(programs)} reference programs"
    )
    found = f"{len(findings)} marked otherwise than stated" if findings else "all marked as stated"
    return CheckReport(
        tuple(findings),
        tuple(f"{document.file}:{advice}" for advice in document.advice),
        f"{exercise.slug} {exercise.version}: {counted}, {found}.",
    )


def _surprises(
    exercise: Exercise,
    programs: tuple[ReferenceProgram, ...],
    efforts: Sequence[Effort],
    numbers: str = "",
) -> Iterator[str]:
    # A right program is a reference itself; only wrong ones are marked beside the references.
    compared = replace(exercise, references=tuple(p.program for p in programs if p.right))
    for program in programs:
        judged = exercise if program.right else compared
        surprises: list[str] = []
        for effort in efforts:
            surprises = program.surprises(mark(judged, program.program, effort))
            if not surprises:
                break
        yield from (f"{program.file}: {each}{numbers}" for each in surprises)


def _advise(document: Document, exercise: Exercise, programs: tuple[ReferenceProgram, ...]) -> None:
    shown = [number for number, scenario in enumerate(exercise.scenarios) if scenario.open]
    for number in shown[OPEN_AT_MOST:]:
        document.advise(
            ("scenarios", number, "open"),
            f"More than {OPEN_AT_MOST} scenarios are open. Students may learn the suite by heart.",
        )
    right = sum(program.right for program in programs)
    for what, count, wanted in (
        ("right", right, RIGHT_AT_LEAST),
        ("wrong", len(programs) - right, WRONG_AT_LEAST),
    ):
        if count < wanted:
            document.advise(
                (), f"The exercise has {count} {what} programs. {wanted} or more tell its quality."
            )
    for number, requirement in enumerate(exercise.requirements):
        if all(p.expected[requirement.id] is not Status.NOT_MET for p in programs):
            document.advise(
                ("requirements", number, "id"),
                f"No wrong program fails {requirement.id}: nothing shows that its checks can catch "
                "a mistake.",
            )
