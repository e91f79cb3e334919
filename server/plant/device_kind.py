"""What a device is: the letters of its tag, its wirings, its faults, when it is actuated."""

from dataclasses import dataclass, replace

from server.ladder.elements import ContactKind
from server.ladder.points import Direction

BROKEN_WIRE, STUCK_ON, STUCK_OFF = "broken wire", "stuck on", "stuck off"
WELDED, NO_PICK_UP = "welded", "no pick-up"

_CONTACT_FAULTS = (BROKEN_WIRE, STUCK_ON, STUCK_OFF)
_BOTH = (ContactKind.OPEN, ContactKind.CLOSED)


@dataclass(frozen=True, slots=True)
class DeviceKind:
    """One row of the device catalogue.

    ``letters`` are those of its tag (ISA-5.1). ``by_hand``: a control of the panel actuates it,
    else the plant does; ``maintained``: it stays as it was set. ``actuated`` says when it is
    actuated, as the end of a sentence. ``delay_ms`` is how long an actuator takes to follow.
    ``number``: its point is an INT. ``color`` is that of a lamp, ``places`` how many digits a
    seven-segment display has. ``states`` and ``changes`` say in a sentence what it is and
    what it does, ``handled`` what is done to it: on, then off.
    """

    name: str
    letters: tuple[str, ...]
    direction: Direction
    actuated: str
    wirings: tuple[ContactKind, ...] = ()
    faults: tuple[str, ...] = ()
    by_hand: bool = False
    maintained: bool = False
    delay_ms: int = 0
    number: bool = False
    states: tuple[str, str] = ("on", "off")
    changes: tuple[str, str] = ("came on", "went off")
    handled: tuple[str, str] = ("was turned on", "was turned off")
    color: str = ""
    places: int = 0

    @property
    def on_panel(self) -> bool:
        """Whether it is one of the operator's devices: worked by hand, or looked at."""
        return self.by_hand or (self.direction is Direction.OUTPUT and not self.delay_ms)

    def resting(self, wiring: ContactKind | None) -> int | None:
        """Return the point's value while nobody works the device; None if the plant decides."""
        if self.direction is Direction.OUTPUT:
            return 0
        return int(wiring is ContactKind.CLOSED) if self.by_hand else None

    def sentence(self, wiring: ContactKind | None) -> str:
        """Return what the point shows and when, in words."""
        if self.direction is Direction.OUTPUT or not self.wirings:
            return self.actuated
        if wiring is ContactKind.CLOSED:
            return f"Off (0) {self.actuated}, otherwise on (1)."
        return f"On (1) {self.actuated}, otherwise off (0)."


def contact(
    name: str,
    letters: tuple[str, ...],
    actuated: str,
    *,
    by_hand: bool = False,
    maintained: bool = False,
    handled: tuple[str, str] = ("was turned on", "was turned off"),
) -> DeviceKind:
    """Return the kind of a device with one contact, wired either way."""
    return DeviceKind(
        *(name, letters, Direction.INPUT, actuated, _BOTH, _CONTACT_FAULTS, by_hand, maintained),
        handled=handled,
    )


def transmitter(name: str, letters: tuple[str, ...], actuated: str) -> DeviceKind:
    """Return the kind of a device that gives a number."""
    return DeviceKind(name, letters, Direction.INPUT, actuated, faults=(BROKEN_WIRE,), number=True)


def actuator(
    name: str,
    letters: tuple[str, ...],
    actuated: str,
    delay_ms: int,
    states: tuple[str, str],
    changes: tuple[str, str],
) -> DeviceKind:
    """Return the kind of a device that follows an output point ``delay_ms`` later."""
    return DeviceKind(
        name,
        letters,
        Direction.OUTPUT,
        actuated,
        faults=(BROKEN_WIRE, WELDED, NO_PICK_UP) if delay_ms else (BROKEN_WIRE,),
        delay_ms=delay_ms,
        states=states,
        changes=changes,
    )


def lamp(color: str = "") -> DeviceKind:
    """Return the kind of a lamp, of one color or of any."""
    kind = actuator(
        *(f"{color} lamp".strip(), ("YL", "LL"), "Lit while the point is on.", 0),
        states=("lit", "dark"),
        changes=("came on", "went out"),
    )
    return replace(kind, color=color)


def display(name: str, shows: str, places: int = 0) -> DeviceKind:
    """Return the kind of a device that shows an INT, in ``places`` digits or as it is."""
    return DeviceKind(name, ("LI", "YI"), Direction.OUTPUT, shows, number=True, places=places)
