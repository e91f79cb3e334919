"""What each rung reads and writes: the edges along which one rung influences another."""

from collections import defaultdict
from dataclasses import dataclass, field

from server.ladder.program import Program
from server.ladder.references import Usage, occurrences


@dataclass(slots=True)
class RungUses:
    """Symbols that a rung reads and writes; a block that it calls is both."""

    reads: set[str] = field(default_factory=set)
    writes: set[str] = field(default_factory=set)


def rung_uses(program: Program) -> dict[int, RungUses]:
    """By rung, from 0; one without symbols gives empty sets."""
    found: dict[int, RungUses] = defaultdict(RungUses)
    for occurrence in occurrences(program):
        assert occurrence.place.rung is not None, "every occurrence is in a rung"
        rung = found[occurrence.place.rung]
        if occurrence.role is not Usage.WRITE:
            rung.reads.add(occurrence.symbol)
        if occurrence.role is not Usage.READ:
            rung.writes.add(occurrence.symbol)
    return found
