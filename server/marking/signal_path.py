"""The rungs of a program that lie on a path from its inputs to its outputs.

A rung that nobody reads, or that nothing from outside reaches, does no work: what a rule asks for
must stand in one that does.
"""

from collections.abc import Iterable

from server.ladder.program import Program
from server.marking.dependence import rung_uses


def rungs_between(program: Program, inputs: Iterable[str], outputs: Iterable[str]) -> set[int]:
    """Return the numbers, from 1, of the rungs that carry something from an input to an output."""
    uses = rung_uses(program)
    fed, wanted = set(inputs), set(outputs)
    _spread(fed, [(rung.reads, rung.writes) for rung in uses.values()])
    _spread(wanted, [(rung.writes, rung.reads) for rung in uses.values()])
    return {
        number + 1 for number, rung in uses.items() if rung.reads & fed and rung.writes & wanted
    }


def _spread(symbols: set[str], edges: list[tuple[set[str], set[str]]]) -> None:
    """Add what is reached from ``symbols`` along the edges."""
    reached = -1
    while reached != len(symbols):
        reached = len(symbols)
        for source, target in edges:
            if source & symbols:
                symbols |= target
