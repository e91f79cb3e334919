"""What can be told of a transmitter's number, by a program and by what judges it."""

from collections.abc import Iterator

from server.ladder.literals import compared_literals
from server.ladder.program import Program, Rung
from server.marking.exercise import Exercise, Requirement
from server.marking.patterns import expressions_of


def compared_numbers(
    exercise: Exercise, program: Program, requirement: Requirement
) -> dict[str, frozenset[int]]:
    """The literals that each transmitter's number is compared with, by the transmitter's tag.

    By the program, the observer and the requirement's checks. A tag is missing where one of them
    does anything else with the number.
    """
    found: dict[str, frozenset[int]] = {}
    for tag in {point.device for point in exercise.points if point.type == "INT"}:
        literals = list(_literals(exercise, program, requirement, tag))
        known = [each for each in literals if each is not None]
        if len(known) == len(literals):
            found[tag] = frozenset().union(*known)
    return found


def _literals(
    exercise: Exercise, program: Program, requirement: Requirement, tag: str
) -> Iterator[frozenset[int] | None]:
    conditions = (e.network for check in requirement.checks for e in expressions_of(check))
    judging = Program("judging", rungs=tuple(Rung(network) for network in conditions))
    for point in exercise.points:
        if point.device == tag:
            yield compared_literals(exercise.observer, point.symbol)
            yield compared_literals(judging, point.symbol)
            for variable in program.variables:
                if variable.address == point.address:
                    yield compared_literals(program, variable.symbol)
