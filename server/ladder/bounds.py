"""The limits, enforced on a program: what the text form, the JSON form and editing all refuse."""

from collections.abc import Iterator
from functools import lru_cache

from server.ladder.limits import (
    MAX_COMMENT_LENGTH,
    MAX_ELEMENTS,
    MAX_NESTING,
    MAX_OPERATORS,
    MAX_PROGRAM_ELEMENTS,
    MAX_RUNGS,
    MAX_SERVES,
    MAX_VARIABLES,
    RUNGS_REMEMBERED,
)
from server.ladder.messages import Message, Place, error, in_rung
from server.ladder.program import (
    AssignmentStatement,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    formulas,
    walk,
)


def over_limits(program: Program) -> tuple[Message, ...]:
    """Return one message for each limit that the program goes over."""
    return (*over_limits_of_parts(program), *_over_budget(program))


def over_limits_of_parts(program: Program) -> tuple[Message, ...]:
    """Check as ``over_limits`` does, but a stored program may be as large as it is."""
    return tuple(_over_limits(program))


def size_of(program: Program) -> int:
    """Elements, wires of empty branches, outputs and operators of all rungs."""
    return sum(map(_size, program.rungs))


@lru_cache(RUNGS_REMEMBERED)
def _size(rung: Rung) -> int:
    inner = sum(max(operators_in(output) - 1, 0) for output in rung.outputs)
    return sum(1 for _ in walk(rung.network)) + _wires(rung.network) + len(rung.outputs) + inner


def operators_in(output: Output) -> int:
    """Return how many operators and functions an output has."""
    return sum(1 for _ in formulas(output.value)) if isinstance(output, AssignmentStatement) else 0


def _over_budget(program: Program) -> Iterator[Message]:
    size = size_of(program)
    yield from _over(
        Place(), "The program has", size, MAX_PROGRAM_ELEMENTS, "elements and outputs in all"
    )


def nesting(network: Series) -> int:
    """Return how many parallels stand inside each other, at most."""
    branches = (b for item in network.items if isinstance(item, Parallel) for b in item.branches)
    return max((1 + nesting(branch) for branch in branches), default=0)


def _wires(network: Series) -> int:
    branches = [b for item in network.items if isinstance(item, Parallel) for b in item.branches]
    return sum(_wires(branch) if branch.items else 1 for branch in branches)


def _over_limits(program: Program) -> Iterator[Message]:
    yield from _over(Place(), "The program has", len(program.rungs), MAX_RUNGS, "rungs")
    yield from _over(
        Place(), "The program declares", len(program.variables), MAX_VARIABLES, "variables"
    )
    yield from _comment(Place(), program.comment)
    for variable in program.variables:
        yield from _comment(Place(symbol=variable.symbol), variable.comment)
    for index, rung in enumerate(program.rungs):
        yield from in_rung(index, _rung(rung))


@lru_cache(RUNGS_REMEMBERED)
def _rung(rung: Rung) -> tuple[Message, ...]:
    return tuple(_over_limits_in(rung))


def _over_limits_in(rung: Rung) -> Iterator[Message]:
    place = Place()
    yield from _over(place, "The rung has", _size(rung), MAX_ELEMENTS, "elements and outputs")
    yield from _over(
        place, "The rung has", nesting(rung.network), MAX_NESTING, "branches inside each other"
    )
    for number, output in enumerate(rung.outputs):
        count = operators_in(output)
        where = Place(output=number)
        yield from _over(where, "The assignment has", count, MAX_OPERATORS, "operators")
    yield from _over(place, "The rung names", len(rung.serves), MAX_SERVES, "requirements")
    yield from _comment(place, rung.comment)


def _comment(place: Place, comment: str) -> Iterator[Message]:
    yield from _over(place, "The comment has", len(comment), MAX_COMMENT_LENGTH, "characters")


def _over(place: Place, has: str, count: int, limit: int, things: str) -> Iterator[Message]:
    if count > limit:
        yield error("limit", place, f"{has} {count} {things}.", f"At most {limit} are allowed.")
