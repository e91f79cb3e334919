"""The literals that a number is compared with: all that rungs can tell of it, if that is all."""

from collections.abc import Iterator

from server.ladder.program import Comparison, Name, Number, Program, walk
from server.ladder.references import occurrences


def compared_literals(program: Program, symbol: str) -> frozenset[int] | None:
    """The literals that ``symbol`` is compared with; None where anything else is done with it.

    Two numbers between the same neighbouring literals are the same to such a program.
    """
    name = symbol.lower()
    literals = list(_compared(program, name))
    used = [found for found in occurrences(program) if found.name.lower() == name]
    return frozenset(literals) if len(literals) == len(used) else None


def _compared(program: Program, wanted: str) -> Iterator[int]:
    for rung in program.rungs:
        for _, element in walk(rung.network):
            match element:
                case Comparison(Name(name), _, Number(value)) if name.lower() == wanted:
                    yield value
                case Comparison(Number(value), _, Name(name)) if name.lower() == wanted:
                    yield value
