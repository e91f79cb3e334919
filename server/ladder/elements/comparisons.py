"""The relations of comparisons, one row each, and the help on comparisons."""

from dataclasses import dataclass

from server.ladder.elements.help import ElementHelp
from server.ladder.elements.rows import Rows


@dataclass(frozen=True, slots=True)
class RelationRow:
    """What there is to know of a relation.

    ``holds`` tells whether it holds while the left side is less, equal, and greater. ``xml`` is the
    standard function that compares so. Each relation is mistaken for every other.
    """

    words: str
    holds: tuple[bool, bool, bool]
    xml: str


class Relation(Rows):
    """Comparison of two numbers or two durations."""

    row: RelationRow

    EQ = "=", RelationRow("equal to", (False, True, False), xml="EQ")
    NE = "<>", RelationRow("not equal to", (True, False, True), xml="NE")
    LT = "<", RelationRow("less than", (True, False, False), xml="LT")
    LE = "<=", RelationRow("at most", (True, True, False), xml="LE")
    GT = ">", RelationRow("greater than", (False, False, True), xml="GT")
    GE = ">=", RelationRow("at least", (False, True, True), xml="GE")

    def holds(self, left: int, right: int) -> bool:
        """Return whether it holds between two numbers."""
        return self.row.holds[(left >= right) + (left > right)]

    @property
    def mirrored(self) -> "Relation":
        """The relation that says the same with its sides exchanged."""
        return _BY_HOLDS[self.row.holds[::-1]]

    @property
    def opposite(self) -> "Relation":
        """The relation that holds wherever this one does not."""
        less, equal, greater = self.row.holds
        return _BY_HOLDS[not less, not equal, not greater]

    @property
    def edges(self) -> tuple[int, ...]:
        """Where it changes for a growing left side: 0 at the right side, 1 at the next number."""
        less, equal, greater = self.row.holds
        return (0,) * (less != equal) + (1,) * (equal != greater)


_BY_HOLDS = {relation.row.holds: relation for relation in Relation}
assert len(_BY_HOLDS) == len(Relation), "no two relations are the same"

COMPARISON_HELP = ElementHelp(
    "Comparison",
    (
        f"Conducts while the relation holds: {', '.join(list(Relation)[:-1])} or {Relation.GE}.",
        "It compares two numbers or two durations, anew in each scan.",
    ),
    "lamp := level >= 500;",
    (("level", "level"), ("lamp", "lamp")),
    (
        *((100, f"level={value}") for value in range(200, 800, 50)),
        *((100, f"level={value}") for value in range(800, 300, -100)),
    ),
)
