"""The reference programs of an exercise: right ones, and wrong ones with what each must fail.

``programs/right-*.st`` meets every requirement. ``programs/wrong-*.st`` has one mistake, named by
comment lines above PROGRAM: ``// fails: R3`` and, where the mistake keeps a requirement from being
tried, ``// not exercised: R4``. Every requirement that is not named must be met. Parameters are
named in programs as in the exercise file.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from server.ladder.limits import MAX_TEXT_BYTES
from server.ladder.messages import ProgramError, Severity
from server.ladder.names import REQUIREMENT
from server.ladder.program import Program
from server.ladder.text_form import parse_source
from server.ladder.validation import validate
from server.marking.exercise import Exercise
from server.marking.files.document import Fault, FileFault
from server.marking.files.placeholders import fill
from server.marking.files.unreadable import UnreadableFile
from server.marking.verdict import Status, Verdict

_EXPECTATION = re.compile(r"(fails|not exercised):(.*)")
_STATUS = {"fails": Status.NOT_MET, "not exercised": Status.NOT_EXERCISED}


@dataclass(frozen=True, slots=True)
class ReferenceProgram:
    """A program file and the status that each requirement must get."""

    file: Path
    program: Program
    expected: dict[str, Status]

    @property
    def right(self) -> bool:
        """Whether the program meets everything."""
        return set(self.expected.values()) <= {Status.MET}

    def surprises(self, verdict: Verdict) -> list[str]:
        """Return a sentence for each requirement that got another status than it must get."""
        return [
            f"{r.id} is {r.status}; it must be {self.expected[r.id]}. {r.sentence}".strip()
            for r in verdict.requirements
            if r.status is not self.expected[r.id]
        ]


def load_programs(folder: Path, exercise: Exercise) -> tuple[ReferenceProgram, ...]:
    """Return all reference programs of the exercise in ``folder``, right ones first, by name.

    Raises FileFault with every fault of the first file that has any.
    """
    files = sorted((folder / "programs").glob("*.st"))
    return tuple(_load(file, exercise) for file in files)


def program_texts(folder: Path) -> dict[str, str]:
    """Return the texts of all program files of the exercise in ``folder``, by file name."""
    return {p.name: p.read_text("utf-8") for p in sorted((folder / "programs").glob("*.st"))}


def with_references(exercise: Exercise, texts: Mapping[str, str]) -> Exercise:
    """Return the exercise with its right programs, from ``texts`` by file name, as references.

    A text with faults is no reference.
    """
    found = []
    for name, text in sorted(texts.items()):
        if name.startswith("right-"):
            with suppress(FileFault):
                found.append(parse_program(name, text.encode(), exercise))
    return replace(exercise, references=tuple(found))


def read_program(file: Path, exercise: Exercise) -> Program:
    """Return the program in a text file, free of errors. Raises FileFault."""
    name = str(file)
    try:
        content = file.read_bytes()
    except OSError as problem:
        said = problem.strerror or "it can't be read"
        raise UnreadableFile(name, f"The file can't be read: {said}.") from None
    return parse_program(name, content, exercise)


def parse_program(name: str, content: bytes, exercise: Exercise) -> Program:
    """Return the program in the bytes of a text file called ``name``. Raises FileFault."""
    try:
        filled = fill(content[: MAX_TEXT_BYTES + 1].decode("utf-8"), dict(exercise.numbers))
        if filled.wrong:
            raise FileFault(
                name, [Fault(at, column, "", said) for at, column, said in filled.wrong]
            )
        source = parse_source(filled.text, stored=True)
        found = source.locate_all(validate(source.program, exercise.points))
    except UnicodeDecodeError:
        raise FileFault(
            name, [Fault(1, 1, "", "The file is not UTF-8. Save it as UTF-8.")]
        ) from None
    except ProgramError as refused:
        found, source = refused.messages, None
    faults = [
        Fault(
            m.place.line or 1,
            filled.column(m.place.line or 1, m.place.column or 1),
            "",
            f"{m.text} {m.fix}".strip(),
        )
        for m in found
        if m.severity is Severity.ERROR
    ]
    if faults or source is None:
        raise FileFault(name, faults)
    return source.program


def _load(file: Path, exercise: Exercise) -> ReferenceProgram:
    return reference_program(file, read_program(file, exercise), exercise)


def reference_program(file: Path, program: Program, exercise: Exercise) -> ReferenceProgram:
    """Return a program with what its name and its comment say that it must meet.

    Raises FileFault.
    """
    expected = {r.id: Status.MET for r in exercise.requirements}
    for line in program.comment.splitlines():
        stated = _EXPECTATION.match(line)
        for number in REQUIREMENT.findall(stated[2]) if stated else ():
            if number not in expected:
                _refuse(file, f"The exercise has no requirement {number}.")
            expected[number] = _STATUS[stated[1]] if stated else Status.MET
    wrong = file.name.startswith("wrong-")
    if not wrong and not file.name.startswith("right-"):
        _refuse(file, "The name begins with neither 'right-' nor 'wrong-'. Rename the file.")
    if wrong != (Status.NOT_MET in expected.values()):
        fix = "Write '// fails: R1' above PROGRAM." if wrong else "Take its '// fails:' away."
        _refuse(file, f"The name and the comment contradict each other. {fix}")
    return ReferenceProgram(file, program, expected)


def _refuse(file: Path, sentence: str) -> None:
    raise FileFault(str(file), [Fault(1, 1, "", sentence)])
