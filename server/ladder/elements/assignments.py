"""The arithmetic operators of assignments, one row each, and the help on assignments."""

from dataclasses import dataclass

from server.ladder.elements.help import ON_AND_OFF, ElementHelp
from server.ladder.elements.rows import Rows


@dataclass(frozen=True, slots=True)
class OperatorRow:
    """What there is to know of an operator.

    ``words`` stand between its sides in a sentence. ``xml`` is the standard function that
    calculates so; the operation of ``server.scan.arithmetic`` has the same name. ``mistaken_for``
    is the operator that stands in its place by a likely mistake.
    """

    words: str
    xml: str
    mistaken_for: str


class Operator(Rows):
    """Arithmetic on two numbers; a word must be among ``names.RESERVED`` from the beginning."""

    row: OperatorRow

    ADD = "+", OperatorRow("plus", xml="ADD", mistaken_for="-")
    SUB = "-", OperatorRow("minus", xml="SUB", mistaken_for="+")
    MUL = "*", OperatorRow("times", xml="MUL", mistaken_for="/")
    DIV = "/", OperatorRow("divided by", xml="DIV", mistaken_for="*")

    @property
    def mistake(self) -> "Operator":
        """The operator that stands in its place by a likely mistake."""
        return Operator(self.row.mistaken_for)


assert all(operator.mistake is not operator for operator in Operator)


@dataclass(frozen=True, slots=True)
class Expansion:
    """How a sign of IEC 61131-3 that has no operator here is calculated in several assignments.

    Each step is ``n := left operator right`` for the target ``n``; ``a`` and ``b`` stand for the
    sides of the sign. ``b`` is a number of ``least`` or more, so that no step can fail.
    ``in_words`` tells how to calculate the same in rungs of one's own.
    """

    steps: tuple[tuple[str, Operator, str], ...]
    least: int
    in_words: str


EXPANSIONS = {
    # As the standard says what MOD is (from memory).
    "MOD": Expansion(
        (("a", Operator.DIV, "b"), ("n", Operator.MUL, "b"), ("a", Operator.SUB, "n")),
        least=1,
        in_words="n - n / m * m",
    )
}
"""The signs that are read as several assignments, by their word, which is also their function."""

assert not EXPANSIONS.keys() & set(Operator), "a sign with an operator needs no expansion"

ASSIGNMENT_HELP = ElementHelp(
    "Assignment",
    (
        "In each scan with power, the number becomes the right side; it may use "
        f"{', '.join(list(Operator)[:-1])} or {list(Operator)[-1]}.",
        "To count a press once, an edge contact stands in front of it.",
    ),
    "IF RISING(start_pb) THEN batches := batches + 1; END_IF;",
    (("start_pb", "start_pb"), ("batches", "batches")),
    ON_AND_OFF,
)
