"""What the statement leaves open, from its form: outputs, a condition, a sentence for students."""

from collections.abc import Iterable, Sequence

from server.ladder.names import shortened
from server.ladder.points import Direction, PointDeclaration
from server.marking.exercise import Freedom
from server.marking.files.conditions import Conditions
from server.marking.files.document import Document
from server.marking.files.exercise_schema import FreePart


def free_items(
    document: Document,
    conditions: Conditions,
    parts: Sequence[FreePart],
    points: Iterable[PointDeclaration],
) -> tuple[Freedom, ...]:
    """Build the items of ``free``; note each name that is not an output in the document."""
    outputs = {p.symbol for p in points if p.direction is Direction.OUTPUT}
    for number, part in enumerate(parts):
        for place, name in enumerate(part.outputs):
            if name not in outputs:
                sentence = f"{shortened(name)} is not an output. Name output points here."
                document.fault(("free", number, "outputs", place), sentence)
        conditions.note_faults(("free", number, "when"), part.when.text)
    return tuple(Freedom(part.outputs, part.when, part.sentence) for part in parts)
