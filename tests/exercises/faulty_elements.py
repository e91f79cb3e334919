"""How often *See it happen* marks what is wrong: every failure of every wrong program that ships.

    uv run python -m tests.exercises.faulty_elements             # all exercises, some minutes
    uv run python -m tests.exercises.faulty_elements --each case-lift

For each requirement on behavior that a wrong program must fail, a run of the server's own is sought
and its causes are followed, as the sheet does. The place that is then marked is compared with the
right program of that exercise that is nearest, element by element (``ladder.comparison``): it hits
when it differs there, or stands beside an element that is missing, or reads or writes what a
missing rung or another declaration is about.
"""

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from pathlib import Path

from server.ladder.comparison import ChangeKind, ProgramChanges, compare
from server.ladder.messages import Place
from server.ladder.names import listed
from server.ladder.program import Coil, Program, Rung, walk
from server.ladder.references import occurrences
from server.marking.demonstration import demonstrate
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import list_exercises, load_exercise
from server.marking.files.reference_programs import ReferenceProgram, load_programs
from server.marking.proofs.proof import provable
from server.marking.verdict import Status
from server.paths import EXERCISES


@dataclass(frozen=True, slots=True)
class Outcome:
    """One failed requirement of one wrong program, and how far its explanation leads.

    ``found`` says whether a run was found that breaks it, ``marked`` whether the marked place is
    one that differs, ``told`` whether any place of the chain is.
    """

    exercise: str
    program: str
    requirement: str
    found: bool
    marked: bool
    told: bool
    note: str = ""


def outcomes(folder: Path) -> Iterator[Outcome]:
    """Yield an outcome for each failed requirement of each wrong program of an exercise."""
    exercise = load_exercise(folder)
    programs = load_programs(folder, exercise)
    right = [each.program for each in programs if each.right]
    for wrong in (each for each in programs if not each.right):
        differing = places_that_differ(wrong.program, right)
        for requirement in _failed(exercise, wrong):
            yield _outcome(exercise, wrong, requirement, differing)


def _failed(exercise: Exercise, wrong: ReferenceProgram) -> list[str]:
    return [
        requirement.id
        for number, requirement in enumerate(exercise.requirements)
        if wrong.expected[requirement.id] is Status.NOT_MET and provable(exercise, number)
    ]


def _outcome(
    exercise: Exercise, wrong: ReferenceProgram, requirement: str, differing: frozenset[Place]
) -> Outcome:
    seen = demonstrate(exercise, wrong.program, requirement)
    if seen is None:
        return Outcome(exercise.slug, wrong.file.name, requirement, False, False, False)
    chain = [Place(rung=r.rung, path=path) for r in seen.reasons for path in r.paths]
    return Outcome(
        exercise.slug,
        wrong.file.name,
        requirement,
        found=True,
        marked=seen.faulty.place in differing,
        told=not differing.isdisjoint(chain),
        note=f"marked {_words(seen.faulty.place)}, differing {listed(map(_words, differing))}",
    )


def places_that_differ(wrong: Program, right: Iterable[Program]) -> frozenset[Place]:
    """Return where a program differs from the nearest right ones, or lacks something."""
    bare = _bare(wrong)
    compared = [(compare(bare, other), other) for other in map(_bare, right)]
    least = min(_cost(changes, bare, other) for changes, other in compared)
    return frozenset(
        place
        for changes, other in compared
        if _cost(changes, bare, other) == least
        for place in _places(changes, bare, other)
    )


def _bare(program: Program) -> Program:
    """Return a program without its comments, by which no run differs."""
    rungs = tuple(replace(rung, comment="", serves=()) for rung in program.rungs)
    variables = tuple(replace(v, comment="") for v in program.variables)
    return replace(program, rungs=rungs, variables=variables)


def _cost(changes: ProgramChanges, wrong: Program, right: Program) -> int:
    """Return how many elements, outputs and declarations of use differ."""

    def size(rung: Rung) -> int:
        return len(list(walk(rung.network))) + len(rung.outputs)

    return sum(
        size(wrong.rungs[row.before])
        if row.after is None and row.before is not None
        else size(right.rungs[row.after])
        if row.before is None and row.after is not None
        else max(len(row.elements_before), len(row.elements_after))
        + max(len(row.outputs_before), len(row.outputs_after))
        + (row.change is ChangeKind.CHANGED)
        for row in changes.rungs
    ) + sum(each.change is ChangeKind.CHANGED for each in changes.variables)


def _places(changes: ProgramChanges, wrong: Program, right: Program) -> Iterator[Place]:
    concerned = {v.before.symbol for v in changes.variables if v.before and v.after}
    for row in changes.rungs:
        if row.change is ChangeKind.SAME:
            continue
        if row.before is None:
            assert row.after is not None, "a row has a rung"
            outputs = right.rungs[row.after].outputs
            concerned |= {o.symbol if isinstance(o, Coil) else o.target for o in outputs}
            continue
        rung = wrong.rungs[row.before]
        paths = [path for path, _ in walk(rung.network)]
        differing = paths if row.after is None else list(row.elements_before)
        written = range(len(rung.outputs)) if row.after is None else row.outputs_before
        yield from (Place(rung=row.before, path=path) for path in differing)
        yield from (Place(rung=row.before, output=output) for output in written)
        if row.after is None or written or row.outputs_after:
            yield Place(rung=row.before)
        same = not differing and not written and not row.elements_after and not row.outputs_after
        if row.after is not None and (same or len(differing) < len(row.elements_after)):
            beside = _beside(rung, right.rungs[row.after])
            yield from (Place(rung=row.before, path=path) for path in beside)
            yield Place(rung=row.before)
    for each in occurrences(wrong):
        if each.symbol in concerned:
            yield Place(rung=each.place.rung, path=each.place.path, output=each.place.output)


def _beside(wrong: Rung, right: Rung) -> Iterator[tuple[int, ...]]:
    """Yield the elements that stand in series with something more in the right rung."""
    has, wants = list(walk(wrong.network)), list(walk(right.network))
    matcher = SequenceMatcher(None, [e for _, e in wants], [e for _, e in has], autojunk=False)
    pairs: dict[tuple[int, ...], tuple[int, ...]] = {}
    for _, i1, i2, j1, j2 in matcher.get_opcodes():
        pairs |= dict(zip([p for p, _ in wants[i1:i2]], [p for p, _ in has[j1:j2]], strict=False))
    missing = [path for path, _ in wants if path not in pairs]
    for gap in missing:
        around = gap[:-1]
        while around and not any(path[: len(around)] == around for path in pairs):
            around = around[:-2]  # a branch of its own stands beside the other branches
        yield from (own for path, own in pairs.items() if path[: len(around)] == around)
    if not missing:
        yield from pairs.values()  # other branches: each stands in series with other elements


def _words(place: Place | None) -> str:
    if place is None or place.rung is None:
        return "no rung"
    inner = "" if place.path is None else f" at {'.'.join(map(str, place.path))}"
    inner += "" if place.output is None else f" output {place.output}"
    return f"rung {place.rung + 1}{inner}"


def main() -> None:
    """Print the figures, and each failure with ``--each``."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("exercise", nargs="*")
    parser.add_argument("--each", action="store_true")
    arguments = parser.parse_args()
    seen: list[Outcome] = []
    for folder in list_exercises(EXERCISES):
        if arguments.exercise and folder.name not in arguments.exercise:
            continue
        for outcome in outcomes(folder):
            seen.append(outcome)
            if arguments.each or not outcome.marked:
                print(outcome)
    found = [each for each in seen if each.found]
    print(f"{len(seen)} failures; a run is found for {len(found)}.")
    print(f"The marked place differs in {sum(each.marked for each in found)}.")
    print(f"A place of the chain differs in {sum(each.told for each in found)}.")


if __name__ == "__main__":
    main()
