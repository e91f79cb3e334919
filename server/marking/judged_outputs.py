"""The outputs that a check is about: those that its judged condition reads.

An author's observer often stands between: what a check calls ``running`` is made of an output and
the supply. A sentence for a student names the output.
"""

from collections.abc import Mapping

from server.ladder.points import Direction
from server.ladder.program import Program
from server.marking.check import Pattern
from server.marking.dependence import rung_uses
from server.marking.exercise import Exercise


def judged_outputs(exercise: Exercise, check: Pattern) -> tuple[str, ...]:
    """Return the symbols of the outputs behind what a check judges, in the order of the table.

    A check that judges no output speaks of all that its conditions read; it may have none.
    """
    outputs = [p.symbol for p in exercise.points if p.direction is Direction.OUTPUT]
    made = _made_from(exercise.observer)
    whole = [name for condition in check.conditions().values() for name in condition.names()]
    for names in (list(check.judged.names()), whole):
        behind = _behind(made, {name.partition(".")[0] for name in names})
        found = tuple(symbol for symbol in outputs if symbol.lower() in behind)
        if found:
            return found
    return ()


def _made_from(observer: Program) -> Mapping[str, set[str]]:
    """Return for each variable of the observer what it is made from."""
    made: dict[str, set[str]] = {}
    for uses in rung_uses(observer).values():
        for written in uses.writes:
            made.setdefault(written, set()).update(uses.reads)
    return made


def _behind(made: Mapping[str, set[str]], names: set[str]) -> set[str]:
    seen, fresh = set[str](), names
    while fresh:
        seen |= fresh
        fresh = set[str]().union(*(made.get(name, ()) for name in fresh)) - seen
    return seen
