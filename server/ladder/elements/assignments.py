"""The operators and functions that an assignment calculates with, one row each, and their help."""

from dataclasses import dataclass

from server.ladder.elements.help import ON_AND_OFF, Course, ElementHelp
from server.ladder.elements.pins import Pin
from server.ladder.elements.rows import Rows

_TWO_NUMBERS = (Pin("IN1", "INT"), Pin("IN2", "INT"))


@dataclass(frozen=True, slots=True)
class OperatorRow:
    """What there is to know of an operator.

    ``text`` is its text form around its operands, ``words`` the same in a sentence, ``pins`` are
    its operands as inputs of ``xml``, the standard function that calculates so. ``mistaken_for`` is
    the operator that stands in its place by a likely mistake, "" for a number that is moved as it
    is, and ``takes`` says which operands it then has, by place.
    """

    text: str
    words: str
    xml: str
    mistaken_for: str
    takes: tuple[int, ...] = (0, 1)
    pins: tuple[Pin, ...] = _TWO_NUMBERS
    help: ElementHelp | None = None


def _level(*values: int) -> Course:
    return tuple((150, f"level={value}") for value in values)


def _function_help(title: str, lines: tuple[str, str], value: str, course: Course) -> ElementHelp:
    lanes = [("level", "level"), ("batches", "batches")]
    if "start_pb" in value:
        lanes.insert(0, ("start_pb", "start_pb"))
    return ElementHelp(title, lines, f"batches := {value};", tuple(lanes), course)


class Operator(Rows):
    """What calculates a number from operands.

    A word between operands must be among ``names.RESERVED`` from the beginning; the name of a
    function need not: it is told by what stands behind it.
    """

    row: OperatorRow

    ADD = "+", OperatorRow("{} + {}", "{} plus {}", xml="ADD", mistaken_for="-")
    SUB = "-", OperatorRow("{} - {}", "{} minus {}", xml="SUB", mistaken_for="+")
    MUL = "*", OperatorRow("{} * {}", "{} times {}", xml="MUL", mistaken_for="/")
    DIV = "/", OperatorRow("{} / {}", "{} divided by {}", xml="DIV", mistaken_for="*")
    MOD = (
        "MOD",
        OperatorRow(
            "{} MOD {}",
            "{} modulo {}",
            xml="MOD",
            mistaken_for="/",
            help=_function_help(
                "MOD, remainder",
                (
                    "The remainder of a division: 730 MOD 200 is 130.",
                    "It has the sign of the left side; divided by zero it is 0.",
                ),
                "level MOD 200",
                _level(0, 90, 180, 270, 360, 450, 540, 630),
            ),
        ),
    )
    ABS = (
        "ABS",
        OperatorRow(
            "ABS({})",
            "the absolute value of {}",
            xml="ABS",
            mistaken_for="",
            takes=(0,),
            pins=(Pin("IN", "INT"),),
            help=_function_help(
                "ABS, absolute value",
                (
                    "The number without its sign: ABS(-3) is 3.",
                    "The smallest INT has no counterpart: it leaves the target as it was.",
                ),
                "ABS(level)",
                _level(-300, -200, -100, 0, 100, 200, 300),
            ),
        ),
    )
    MIN = (
        "MIN",
        OperatorRow(
            "MIN({}, {})",
            "the smaller of {} and {}",
            xml="MIN",
            mistaken_for="MAX",
            help=_function_help(
                "MIN, the smaller number",
                (
                    "The smaller one of two numbers, anew in each scan with power.",
                    "So a number stays below a highest value.",
                ),
                "MIN(level, 300)",
                _level(0, 100, 200, 300, 400, 500, 200),
            ),
        ),
    )
    MAX = (
        "MAX",
        OperatorRow(
            "MAX({}, {})",
            "the larger of {} and {}",
            xml="MAX",
            mistaken_for="MIN",
            help=_function_help(
                "MAX, the larger number",
                (
                    "The larger one of two numbers, anew in each scan with power.",
                    "With its own target as one side it keeps the highest value so far.",
                ),
                "MAX(level, batches)",
                _level(0, 200, 100, 400, 300, 500, 0),
            ),
        ),
    )
    LIMIT = (
        "LIMIT",
        OperatorRow(
            "LIMIT({}, {}, {})",
            "from {} up the number {} up to {}",
            xml="LIMIT",
            mistaken_for="",
            takes=(1,),
            pins=(Pin("MN", "INT"), Pin("IN", "INT"), Pin("MX", "INT")),
            help=_function_help(
                "LIMIT, a number within limits",
                (
                    "LIMIT(lowest, number, highest): the number, or the limit that it has passed.",
                    "With the limits exchanged it is the highest, whatever the number.",
                ),
                "LIMIT(100, level, 400)",
                _level(0, 100, 200, 300, 400, 500, 300, 50),
            ),
        ),
    )
    SEL = (
        "SEL",
        OperatorRow(
            "SEL({}, {}, {})",
            "by {} one of {} and {}",
            xml="SEL",
            mistaken_for="SEL",
            takes=(0, 2, 1),
            pins=(Pin("G", "BOOL"), Pin("IN0", "INT"), Pin("IN1", "INT")),
            help=_function_help(
                "SEL, one of two numbers",
                (
                    "SEL(bit, a, b): the number a while the BOOL is OFF, b while it is ON.",
                    "So a switch chooses between two recipes.",
                ),
                "SEL(start_pb, 120, 300)",
                ON_AND_OFF,
            ),
        ),
    )

    @property
    def infix(self) -> bool:
        """Whether it stands between its two operands."""
        return self.row.text.startswith("{}")

    @property
    def mistake(self) -> "Operator | None":
        """What stands in its place by a likely mistake; None for a number moved as it is."""
        return Operator(self.row.mistaken_for) if self.row.mistaken_for else None


MOVED = (Pin("IN", "INT"),)
"""The operand of an assignment without an operator."""

assert all(
    [operator.row.pins[place].type for place in operator.row.takes]
    == [pin.type for pin in (operator.mistake.row.pins if operator.mistake else MOVED)]
    and (operator.mistake is not operator or list(operator.row.takes) != sorted(operator.row.takes))
    for operator in Operator
), "an operator is mistaken for another one that takes operands of the same types"

_SIGNS = [operator for operator in Operator if operator.row.help is None]

ASSIGNMENT_HELP = ElementHelp(
    "Assignment",
    (
        "In each scan with power, the number becomes the right side; it may use "
        f"{', '.join(_SIGNS[:-1])} or {_SIGNS[-1]}.",
        "To count a press once, an edge contact stands in front of it.",
    ),
    "IF RISING(start_pb) THEN batches := batches + 1; END_IF;",
    (("start_pb", "start_pb"), ("batches", "batches")),
    ON_AND_OFF,
)
