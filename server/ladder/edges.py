"""Where comparisons change: what rungs can tell of a number, if they do nothing else with it."""

from collections.abc import Iterator

from server.ladder.elements import Relation
from server.ladder.program import Comparison, Name, Number, Program, walk
from server.ladder.references import occurrences


def comparison_edges(program: Program, symbol: str) -> frozenset[int] | None:
    """Return the values from which on a comparison of ``symbol`` gives something else.

    Two numbers between the same neighbouring edges are the same to the program. None where it
    does anything else with the symbol than to compare it with literals.
    """
    name = symbol.lower()
    compared = list(_compared(program, name))
    used = [found for found in occurrences(program) if found.name.lower() == name]
    if len(compared) < len(used):
        return None
    return frozenset(value + more for relation, value in compared for more in relation.edges)


def _compared(program: Program, wanted: str) -> Iterator[tuple[Relation, int]]:
    for rung in program.rungs:
        for _, element in walk(rung.network):
            match element:
                case Comparison(Name(name), relation, Number(value)) if name.lower() == wanted:
                    yield relation, value
                case Comparison(Number(value), relation, Name(name)) if name.lower() == wanted:
                    yield relation.mirrored, value
