"""Names across an exercise: the machine's signals, and numbers and names that refer to others."""

from collections import Counter
from collections.abc import Iterable, Iterator

from server.ladder.names import shortened
from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import ExerciseForm
from server.marking.machine import assemble
from server.plant.step import PlantStep
from server.scan.assembler import Assembler, Quantity, Signal


def signals_of(exercise: Exercise) -> dict[str, Signal]:
    """Return what conditions and scenarios may name: all of the machine that makes sense.

    Of the plant's quantities these are the ones that have thresholds.
    """
    signals = assemble(exercise, Program("none")).signals
    gauges = PlantStep(exercise.plant, Assembler()).gauges
    return {
        name: signal
        for name, signal in signals.items()
        if not isinstance(signal, Quantity) or name in gauges
    }


def note_names(document: Document, form: ExerciseForm) -> None:
    """Note repeated numbers and names, and references to what is not there."""
    numbers = [r.id for r in form.requirements]
    names = [s.name for s in form.scenarios]
    _note_repeated(document, numbers, ("requirements",), "id")
    _note_repeated(document, names, ("scenarios",), "name")
    for path, reference, known, what in _references(form, numbers, names):
        if reference not in known:
            document.fault(path, f"There is no {what} {shortened(reference)}.")


def _references(
    form: ExerciseForm, numbers: list[str], names: list[str]
) -> Iterator[tuple[FieldPath, str, Iterable[str], str]]:
    for i, requirement in enumerate(form.requirements):
        for k, outcome in enumerate(requirement.outcomes):
            yield ("requirements", i, "outcomes", k), outcome, form.outcomes, "outcome"
        for c, check in enumerate(requirement.checks):
            for k, name in enumerate(check.scenarios):
                yield ("requirements", i, "checks", c, "scenarios", k), name, names, "scenario"
            for k, number in enumerate(check.follows):
                others = [each for each in numbers if each != requirement.id]
                path = ("requirements", i, "checks", c, "follows", k)
                yield path, number, others, "other requirement"
    for i, scenario in enumerate(form.scenarios):
        for k, number in enumerate(scenario.judges):
            yield ("scenarios", i, "judges", k), number, numbers, "requirement"


def _note_repeated(document: Document, values: list[str], path: FieldPath, key: str) -> None:
    count = Counter(values)
    for number, value in enumerate(values):
        if count[value] > 1 and value in values[:number]:
            document.fault((*path, number, key), f"{shortened(value)} stands here twice.")
