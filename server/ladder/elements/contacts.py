"""The kinds of contacts, one row each."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.ladder.elements.help import ON_AND_OFF, START_AND_LAMP, ElementHelp
from server.ladder.elements.rows import Rows


@dataclass(frozen=True, slots=True)
class ContactRow:
    """What there is to know of a kind of contact.

    ``text`` is its text form around a symbol, ``xml`` its attributes in XML, ``mark`` the letter in
    its drawing. ``mistaken_for`` names the kinds that stand in its place by a likely mistake.
    """

    text: str
    mistaken_for: tuple[str, ...]
    help: ElementHelp
    xml: Mapping[str, str] = field(default_factory=dict)
    mark: str = ""


class ContactKind(Rows):
    """What makes a contact conduct."""

    row: ContactRow

    OPEN = (
        "normally open",
        ContactRow(
            text="{}",
            mistaken_for=("normally closed",),
            help=ElementHelp(
                "Normally open contact",
                (
                    "Conducts while its BOOL is ON.",
                    "A stop button that is wired normally closed is ON at rest: it takes this "
                    "contact.",
                ),
                "lamp := start_pb;",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )
    CLOSED = (
        "normally closed",
        ContactRow(
            text="NOT {}",
            xml={"negated": "true"},
            mistaken_for=("normally open",),
            help=ElementHelp(
                "Normally closed contact",
                (
                    "Conducts while its BOOL is OFF.",
                    "It looks at the signal, not at the device: a broken wire makes it conduct.",
                ),
                "lamp := NOT start_pb;",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )
    RISING = (
        "rising edge",
        ContactRow(
            text="RISING({})",
            xml={"edge": "rising"},
            mark="P",
            mistaken_for=("falling edge", "normally open"),
            help=ElementHelp(
                "Rising edge contact",
                (
                    "Conducts for one scan, the one in which its BOOL has come ON.",
                    "The BOOL must go OFF before it conducts again. Here a scan takes 50 ms.",
                ),
                "lamp := RISING(start_pb);",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )
    FALLING = (
        "falling edge",
        ContactRow(
            text="FALLING({})",
            xml={"edge": "falling"},
            mark="N",
            mistaken_for=("rising edge", "normally closed"),
            help=ElementHelp(
                "Falling edge contact",
                (
                    "Conducts for one scan, the one in which its BOOL has gone OFF.",
                    "The BOOL must come ON before it conducts again. Here a scan takes 50 ms.",
                ),
                "lamp := FALLING(start_pb);",
                START_AND_LAMP,
                ON_AND_OFF,
            ),
        ),
    )

    @property
    def is_edge(self) -> bool:
        """Whether it conducts for the one scan of a change."""
        return self in (ContactKind.RISING, ContactKind.FALLING)

    @property
    def mistakes(self) -> tuple["ContactKind", ...]:
        """The kinds that stand in its place by a likely mistake."""
        return tuple(map(ContactKind, self.row.mistaken_for))


assert all(kind.mistakes for kind in ContactKind), "every contact is mistaken for another"
