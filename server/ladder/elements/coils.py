"""The kinds of coils, one row each."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.ladder.elements.help import ON_AND_OFF, START_AND_LAMP, ElementHelp
from server.ladder.elements.rows import Rows

_SET_AND_RESET = "IF start_pb THEN lamp := TRUE; END_IF; IF reset_pb THEN lamp := FALSE; END_IF;"
_START_RESET_LAMP = (("start_pb", "start_pb"), ("reset_pb", "reset_pb"), ("lamp", "lamp"))


@dataclass(frozen=True, slots=True)
class CoilRow:
    """What there is to know of a kind of coil.

    ``text`` is its text form around a symbol, ``xml`` its attributes in XML, ``mark`` the letter in
    its drawing, ``opcode`` the instruction that drives its BOOL. A coil with a ``partner`` acts
    only while power arrives, and its partner takes that back. Each kind is mistaken for every
    other one.
    """

    text: str
    opcode: str
    help: ElementHelp
    xml: Mapping[str, str] = field(default_factory=dict)
    mark: str = ""
    partner: str | None = None


class CoilKind(Rows):
    """What a coil does with the power that reaches it."""

    row: CoilRow

    COIL = (
        "coil",
        CoilRow(
            text="{}",
            opcode="COPY",
            help=ElementHelp(
                "Coil",
                (
                    "Its BOOL is ON in each scan in which power arrives, and OFF in every other.",
                    "A BOOL has one coil: of two, only the lower one counts.",
                ),
                "lamp := start_pb;",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )
    NEGATED = (
        "negated coil",
        CoilRow(
            text="NOT {}",
            opcode="NOT",
            xml={"negated": "true"},
            help=ElementHelp(
                "Negated coil",
                (
                    "Its BOOL is OFF in each scan in which power arrives, and ON in every other.",
                    "With power it is OFF, so it is also ON while nothing else has happened yet.",
                ),
                "NOT lamp := start_pb;",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )
    SET = (
        "set coil",
        CoilRow(
            text="{} := TRUE",
            opcode="SET",
            xml={"latch": "set"},
            mark="S",
            partner="reset coil",
            help=ElementHelp(
                "Set coil",
                (
                    "Power turns its BOOL ON; without power the BOOL stays as it is.",
                    "A reset coil turns it OFF again: here reset_pb, in the rung below.",
                ),
                _SET_AND_RESET,
                _START_RESET_LAMP,
                ((400, ""), (300, "start_pb"), (700, ""), (300, "reset_pb"), (600, "")),
            ),
        ),
    )
    RESET = (
        "reset coil",
        CoilRow(
            text="{} := FALSE",
            opcode="RESET",
            xml={"latch": "reset"},
            mark="R",
            partner="set coil",
            help=ElementHelp(
                "Reset coil",
                (
                    "Power turns its BOOL OFF; without power the BOOL stays as it is.",
                    "While set and reset both have power, the one further down wins.",
                ),
                _SET_AND_RESET,
                _START_RESET_LAMP,
                (
                    (300, ""),
                    (300, "start_pb"),
                    (500, ""),
                    (300, "reset_pb"),
                    (300, ""),
                    (400, "start_pb reset_pb"),
                    (400, ""),
                ),
            ),
        ),
    )

    @property
    def partner(self) -> "CoilKind | None":
        """The coil that takes back what this one does; None where power alone decides."""
        return None if self.row.partner is None else CoilKind(self.row.partner)


assert all(kind.partner is None or kind.partner.partner is kind for kind in CoilKind)
