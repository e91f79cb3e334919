"""The operators and functions that an assignment calculates with, one row each, and their help."""

from dataclasses import dataclass

from server.ladder.elements.data_types import NUMERIC, DataType
from server.ladder.elements.help import ON_AND_OFF, Course, ElementHelp, pulses
from server.ladder.elements.pins import Pin
from server.ladder.elements.rows import Rows

_TWO_NUMBERS = (Pin("IN1", "INT"), Pin("IN2", "INT"))
_TWO_WORDS = (Pin("IN1", "WORD"), Pin("IN2", "WORD"))
_SHIFTED = (Pin("IN", "WORD"), Pin("N", "INT"))


@dataclass(frozen=True, slots=True)
class OperatorRow:
    """What there is to know of an operator.

    ``text`` is its text form around its operands, ``words`` the same in a sentence, ``pins`` are
    its operands as inputs of ``xml``, the standard function that calculates so, and ``result`` are
    the types that the target may have. ``mistaken_for`` is the operator that stands in its place by
    a likely mistake, "" for a number that is moved as it is and None where there is none, and
    ``takes`` says which operands it then has, by place. What ``binds`` more tightly is done first
    (IEC 61131-3, table of the operators of Structured Text, from memory).
    """

    text: str
    words: str
    xml: str
    mistaken_for: str | None
    takes: tuple[int, ...] = (0, 1)
    pins: tuple[Pin, ...] = _TWO_NUMBERS
    result: tuple[DataType, ...] = ("INT",)
    binds: int = 9
    help: ElementHelp | None = None


def _level(*values: int) -> Course:
    return tuple((150, f"level={value}") for value in values)


def _function_help(title: str, lines: tuple[str, str], value: str, course: Course) -> ElementHelp:
    lanes = [("level", "level"), ("batches", "batches")]
    if "start_pb" in value:
        lanes.insert(0, ("start_pb", "start_pb"))
    return ElementHelp(title, lines, f"batches := {value};", tuple(lanes), course)


def _joining(word: str, lines: tuple[str, str], *, binds: int, mistaken_for: str) -> OperatorRow:
    """Return what joins two WORDs bit by bit."""
    return OperatorRow(
        f"{{}} {word} {{}}",
        f"{{}} {word} {{}}, bit by bit",
        xml=word,
        mistaken_for=mistaken_for,
        pins=_TWO_WORDS,
        result=("WORD",),
        binds=binds,
        help=ElementHelp(
            f"{word} of two WORDs",
            lines,
            f"pattern := pattern {word} 16#0006; lamp := pattern.%X0;"
            if word != "XOR"
            else "IF RISING(start_pb) THEN pattern := pattern XOR 16#0001; END_IF; "
            "lamp := pattern.%X0;",
            (("start_pb", "start_pb"), ("pattern", "pattern"), ("lamp", "lamp")),
            ON_AND_OFF,
        ),
    )


def _shift(
    word: str, words: str, title: str, lines: tuple[str, str], *, mistaken_for: str
) -> OperatorRow:
    """Return what moves the bits of a WORD by some places."""
    return OperatorRow(
        f"{word}({{}}, {{}})",
        words,
        xml=word,
        mistaken_for=mistaken_for,
        pins=_SHIFTED,
        result=("WORD",),
        help=ElementHelp(
            f"{word}, {title}",
            lines,
            f"IF RISING(crate_eye) THEN pattern := {word}(pattern, 1); END_IF; "
            "lamp := pattern.%X1;",
            (("crate_eye", "crate_eye"), ("pattern", "pattern"), ("pattern.%X1", "lamp")),
            ((150, ""), *pulses("crate_eye", 4)),
        ),
    )


def _conversion(word: str, of: DataType, to: DataType, value: str) -> OperatorRow:
    """Return what reads the 16 bits of one type as those of the other."""
    target = "batches" if to == "INT" else "pattern"
    return OperatorRow(
        f"{word}({{}})",
        f"{{}} as {'an' if to == 'INT' else 'a'} {to}",
        xml=word,
        mistaken_for=None,
        takes=(0,),
        pins=(Pin("IN", of),),
        result=(to,),
        help=ElementHelp(
            f"{word}, conversion",
            (
                f"The same 16 bits, as {'an INT' if to == 'INT' else 'a WORD'}.",
                "16#FFFF is -1, because the highest bit of an INT is its sign.",
            ),
            f"{target} := {word}({value});",
            ((value, value), (target, target)),
            _level(0, 1, 2, 4, 8, -1, 0),
        ),
    )


class Operator(Rows):
    """What calculates a number from operands.

    A word between operands must be among ``names.RESERVED`` from the beginning; the name of a
    function need not: it is told by what stands behind it.
    """

    row: OperatorRow

    ADD = "+", OperatorRow("{} + {}", "{} plus {}", xml="ADD", mistaken_for="-", binds=4)
    SUB = "-", OperatorRow("{} - {}", "{} minus {}", xml="SUB", mistaken_for="+", binds=4)
    MUL = "*", OperatorRow("{} * {}", "{} times {}", xml="MUL", mistaken_for="/", binds=5)
    DIV = "/", OperatorRow("{} / {}", "{} divided by {}", xml="DIV", mistaken_for="*", binds=5)
    MOD = (
        "MOD",
        OperatorRow(
            "{} MOD {}",
            "{} modulo {}",
            xml="MOD",
            mistaken_for="/",
            binds=5,
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
            pins=(Pin("G", "BOOL"), Pin("IN0", "ANY"), Pin("IN1", "ANY")),
            result=NUMERIC,
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
    NOT = (
        "NOT",
        OperatorRow(
            "NOT {}",
            "the opposite bits of {}",
            xml="NOT",
            mistaken_for="",
            binds=6,
            takes=(0,),
            pins=(Pin("IN", "WORD"),),
            result=("WORD",),
            help=ElementHelp(
                "NOT of a WORD",
                (
                    "Each of the 16 bits becomes its opposite: NOT 16#00FF is 16#FF00.",
                    "On a BOOL, NOT is a normally closed contact.",
                ),
                "IF RISING(start_pb) THEN pattern := NOT pattern; END_IF; lamp := pattern.%X0;",
                (("start_pb", "start_pb"), ("pattern", "pattern"), ("pattern.%X0", "lamp")),
                ON_AND_OFF,
            ),
        ),
    )
    AND = (
        "AND",
        _joining(
            "AND",
            (
                "A bit of the result is ON where it is ON in both WORDs.",
                "So a mask leaves some bits and turns the others OFF.",
            ),
            binds=3,
            mistaken_for="OR",
        ),
    )
    OR = (
        "OR",
        _joining(
            "OR",
            (
                "A bit of the result is ON where it is ON in one of the two WORDs, or in both.",
                "So some bits are turned ON and the others stay as they are.",
            ),
            binds=1,
            mistaken_for="AND",
        ),
    )
    XOR = (
        "XOR",
        _joining(
            "XOR",
            (
                "A bit of the result is ON where the two WORDs differ.",
                "So some bits are turned over and the others stay as they are.",
            ),
            binds=2,
            mistaken_for="OR",
        ),
    )
    SHL = (
        "SHL",
        _shift(
            "SHL",
            "{} shifted left by {}",
            "shift left",
            (
                "SHL(word, n): every bit moves n places up; zeros come in below.",
                "What moves above bit 15 is lost. A negative n leaves the target as it was.",
            ),
            mistaken_for="SHR",
        ),
    )
    SHR = (
        "SHR",
        _shift(
            "SHR",
            "{} shifted right by {}",
            "shift right",
            (
                "SHR(word, n): every bit moves n places down; zeros come in above.",
                "What moves below bit 0 is lost. A negative n leaves the target as it was.",
            ),
            mistaken_for="SHL",
        ),
    )
    ROL = (
        "ROL",
        _shift(
            "ROL",
            "{} rotated left by {}",
            "rotate left",
            (
                "ROL(word, n): every bit moves n places up; bit 15 comes back as bit 0.",
                "After 16 places all is as before. A negative n leaves the target as it was.",
            ),
            mistaken_for="ROR",
        ),
    )
    ROR = (
        "ROR",
        _shift(
            "ROR",
            "{} rotated right by {}",
            "rotate right",
            (
                "ROR(word, n): every bit moves n places down; bit 0 comes back as bit 15.",
                "After 16 places all is as before. A negative n leaves the target as it was.",
            ),
            mistaken_for="ROL",
        ),
    )
    INT_TO_WORD = "INT_TO_WORD", _conversion("INT_TO_WORD", "INT", "WORD", "level")
    WORD_TO_INT = "WORD_TO_INT", _conversion("WORD_TO_INT", "WORD", "INT", "pattern")

    @property
    def infix(self) -> bool:
        """Whether it stands between its two operands."""
        return self.row.text.startswith("{}")

    @property
    def called(self) -> bool:
        """Whether its operands stand in parentheses of its own."""
        return self.row.text.endswith(")")

    @property
    def joins_bits(self) -> bool:
        """Whether it means the same on a WORD as contacts mean on a BOOL."""
        return self in (Operator.NOT, Operator.AND, Operator.OR, Operator.XOR)

    @property
    def mistake(self) -> "Operator | None":
        """What stands in its place by a likely mistake; None for a number moved as it is."""
        return Operator(self.row.mistaken_for) if self.row.mistaken_for else None


MOVED = (Pin("IN", "ANY"),)
"""The operand of an assignment without an operator."""

assert all(
    all(
        pin.type in (operator.row.pins[place].type, "ANY")
        for place, pin in zip(
            operator.row.takes,
            operator.mistake.row.pins if operator.mistake else MOVED,
            strict=True,
        )
    )
    and (operator.mistake is not operator or list(operator.row.takes) != sorted(operator.row.takes))
    for operator in Operator
    if operator.row.mistaken_for is not None
), "an operator is mistaken for another one that takes operands of the same types"

_SIGNS = [operator for operator in Operator if operator.row.help is None]

ASSIGNMENT_HELP = ElementHelp(
    "Assignment",
    (
        "In each scan with power, the number becomes the right side: "
        f"{', '.join(_SIGNS[:-1])}, {_SIGNS[-1]} and parentheses.",
        "To count a press once, an edge contact stands in front of it.",
    ),
    "IF RISING(start_pb) THEN batches := batches + 1; END_IF;",
    (("start_pb", "start_pb"), ("batches", "batches")),
    ON_AND_OFF,
)
