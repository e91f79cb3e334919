"""What can be told of a transmitter's number, by a program and by what judges it."""

from collections.abc import Iterator

from server.ladder.edges import comparison_edges
from server.ladder.program import Program, Rung
from server.marking.exercise import Exercise, Requirement


def reading_edges(
    exercise: Exercise, program: Program, requirement: Requirement
) -> dict[str, frozenset[int]]:
    """Return where each transmitter's number passes from one stretch to the next, by its tag.

    To the program, the observer and the requirement's checks all numbers of a stretch are the
    same. A tag is missing where one of them does more with the number than to compare it.
    """
    found: dict[str, frozenset[int]] = {}
    for tag in {point.device for point in exercise.points if point.type == "INT"}:
        edges = list(_edges(exercise, program, requirement, tag))
        known = [each for each in edges if each is not None]
        if len(known) == len(edges):
            found[tag] = frozenset().union(*known)
    return found


def _edges(
    exercise: Exercise, program: Program, requirement: Requirement, tag: str
) -> Iterator[frozenset[int] | None]:
    conditions = (e.network for check in requirement.checks for e in check.conditions().values())
    judging = Program("judging", rungs=tuple(Rung(network) for network in conditions))
    for point in exercise.points:
        if point.device == tag:
            yield comparison_edges(exercise.observer, point.symbol)
            yield comparison_edges(judging, point.symbol)
            for variable in program.variables:
                if variable.address == point.address:
                    yield comparison_edges(program, variable.symbol)
