"""Devices between plant, panel and program: contacts with their wiring, contactors, faults.

Everything here is bit instructions. The input stage turns what actuates a device (a hand on the
panel, the plant) into the input point that the program reads; the output stage turns the output
point that the program wrote into what the actuator really does.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from server.ladder.elements import ContactKind
from server.ladder.points import Direction, PointDeclaration
from server.scan.assembler import Assembler, Bit, Signal, Word
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op

SWITCHING_MS = 10
"""How long a contactor or a solenoid takes to pick up or drop out (common practice, no source)."""

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
    ``states`` and ``changes`` say in a sentence what it is and what it does: on, then off.
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
    states: tuple[str, str] = ("on", "off")
    changes: tuple[str, str] = ("came on", "went off")

    def resting(self, wiring: ContactKind | None) -> int | None:
        """The point's value while nobody works the device; None where that is up to the plant."""
        if self.direction is Direction.OUTPUT:
            return 0
        return int(wiring is ContactKind.CLOSED) if self.by_hand else None

    def sentence(self, wiring: ContactKind | None) -> str:
        """What the point shows and when, in words."""
        if self.direction is Direction.OUTPUT or not self.wirings:
            return self.actuated
        if wiring is ContactKind.CLOSED:
            return f"Off (0) {self.actuated}, otherwise on (1)."
        return f"On (1) {self.actuated}, otherwise off (0)."


def _contact(name: str, letters: tuple[str, ...], actuated: str, by_hand: bool = False,
             maintained: bool = False) -> DeviceKind:  # fmt: skip
    return DeviceKind(
        name, letters, Direction.INPUT, actuated, _BOTH, _CONTACT_FAULTS, by_hand, maintained
    )


def _actuator(name: str, letters: tuple[str, ...], actuated: str, delay_ms: int,
              states: tuple[str, str], changes: tuple[str, str]) -> DeviceKind:  # fmt: skip
    faults = (BROKEN_WIRE, WELDED, NO_PICK_UP) if delay_ms else (BROKEN_WIRE,)
    return DeviceKind(name, letters, Direction.OUTPUT, actuated, faults=faults, delay_ms=delay_ms,
                      states=states, changes=changes)  # fmt: skip


KINDS: dict[str, DeviceKind] = {
    kind.name: kind
    for kind in (
        _contact("push-button", ("HS",), "while it is pressed", by_hand=True),
        _contact("emergency stop", ("HS",), "from when it is struck until it is pulled out",
                 by_hand=True, maintained=True),
        _contact("selector switch", ("HS",), "while it stands in this position",
                 by_hand=True, maintained=True),
        _contact("level switch", ("LSL", "LSH", "LSLL", "LSHH"), "while the liquid covers it"),
        _contact("position switch", ("ZS",), "while the moving part is there"),
        _contact("photo-eye", ("YS",), "while an item blocks its beam"),
        DeviceKind("level transmitter", ("LT",), Direction.INPUT,
                   "0 when empty, 10000 when full.", faults=(BROKEN_WIRE,)),
        _actuator("contactor", ("M", "P"), "The motor runs while the point is on.", SWITCHING_MS,
                  ("running", "stopped"), ("started", "stopped")),
        _actuator("solenoid valve", ("LV", "YV"), "The valve is open while the point is on.",
                  SWITCHING_MS, ("open", "closed"), ("opened", "closed")),
        _actuator("lamp", ("YL", "LL"), "Lit while the point is on.", 0,
                  ("lit", "dark"), ("came on", "went out")),
        _actuator("horn", ("YA", "LA"), "Sounds while the point is on.", 0,
                  ("sounding", "silent"), ("began to sound", "fell silent")),
        DeviceKind("number display", ("LI", "YI"), Direction.OUTPUT, "Shows the number."),
    )
}  # fmt: skip
"""The device catalogue by name. Letters: ISA-5.1-2009, table 4.1; those of motors, valves and
pumps are equipment tags (from memory)."""


def kind_of(point: PointDeclaration) -> DeviceKind:
    """The catalogue's row for a point: its ``description`` names it."""
    return KINDS[point.description]


def fault_names(point: PointDeclaration) -> tuple[str, ...]:
    """Symbols of the control planes of a point's faults: ``fault.<symbol>.<kind>``."""
    return tuple(f"fault.{point.symbol}.{fault}" for fault in kind_of(point).faults)


@dataclass(frozen=True, slots=True)
class Switchboard:
    """How devices are emitted into one machine.

    ``faults`` names the fault planes to make, None for all of them: each costs an instruction.
    With ``free`` the panel's controls and the faults are choices that the exhaustive search
    tries.
    """

    asm: Assembler
    faults: Collection[str] | None = None
    free: bool = False

    def supply(self) -> int:
        """The plane ``power``, TRUE at the start: the supply of controller and outputs."""
        power = self.asm.control(True)
        self.asm.define("power", Bit(power))
        return power

    def inputs(
        self, points: Iterable[PointDeclaration], senses: Mapping[str, Signal]
    ) -> dict[str, Signal]:
        """Emit the input stage; the input points by address, each also under its symbol.

        ``senses`` has what the plant actuates, by tag: a BOOL, or an INT for a transmitter.
        Contacts of one selector switch (they share its tag) are exclusive positions.
        """
        by_address: dict[str, Signal] = {}
        turned: dict[str, int] = {}
        for point in points:
            if point.direction is not Direction.INPUT:
                continue
            if kind_of(point).by_hand:
                actuated: Signal = Bit(self._control(point, turned))
            else:
                actuated = senses[point.device]
            image = (
                Word(self._number(point, actuated.base))
                if isinstance(actuated, Word)
                else Bit(self._contact(point, _plane(actuated)))
            )
            by_address[point.address] = image
            self.asm.define(point.symbol, image)
        return by_address

    def outputs(
        self, points: Iterable[PointDeclaration], written: Mapping[str, Signal], power: int
    ) -> dict[str, int]:
        """Emit the output stage; what each actuator really does, by symbol.

        ``written`` are the output points by address, as the program left them. ``<symbol>`` names
        the point, ``<symbol>.on`` the actuator.
        """
        actuators: dict[str, int] = {}
        for point in points:
            if point.direction is not Direction.OUTPUT:
                continue
            command = written.get(point.address, Bit(FALSE))
            self.asm.define(point.symbol, command)
            if isinstance(command, Bit):
                on = self._actuator(point, command.plane, power)
                actuators[point.symbol] = on
                self.asm.define(f"{point.symbol}.on", Bit(on))
        return actuators

    def _control(self, point: PointDeclaration, turned: dict[str, int]) -> int:
        control = self.asm.choice() if self.free else self.asm.control()
        self.asm.define(f"panel.{point.symbol}", Bit(control))
        if point.description != "selector switch":
            return control
        others = turned.get(point.device, FALSE)
        here = self.asm.and_not(control, others)
        turned[point.device] = self.asm.or_(others, control)
        return here

    def _fault(self, point: PointDeclaration, fault: str) -> int:
        name = f"fault.{point.symbol}.{fault}"
        if fault not in kind_of(point).faults:
            return FALSE
        if self.faults is not None and name not in self.faults:
            return FALSE
        plane = self.asm.choice() if self.free else self.asm.control()
        self.asm.define(name, Bit(plane))
        return plane

    def _contact(self, point: PointDeclaration, actuated: int) -> int:
        asm = self.asm
        closed = point.wiring is ContactKind.CLOSED
        stuck_on, stuck_off = self._fault(point, STUCK_ON), self._fault(point, STUCK_OFF)
        broken = self._fault(point, BROKEN_WIRE)
        contact = asm.not_(actuated) if closed else actuated
        contact = asm.and_not(asm.or_(contact, stuck_on), asm.or_(stuck_off, broken))
        if contact != actuated or kind_of(point).by_hand:
            return contact
        image = asm.temporary()
        asm.copy_to(image, actuated)
        return image

    def _number(self, point: PointDeclaration, base: int) -> int:
        asm = self.asm
        image = asm.temporary()
        for _ in range(INT_PLANES - 1):
            asm.temporary()
        asm.emit(Op.MOVE, image, base, TRUE)
        broken = self._fault(point, BROKEN_WIRE)
        if broken != FALSE:
            asm.emit(Op.MOVE, image, asm.constant(0), broken)
        return image

    def _actuator(self, point: PointDeclaration, command: int, power: int) -> int:
        asm = self.asm
        welded, dead = self._fault(point, WELDED), self._fault(point, NO_PICK_UP)
        broken = self._fault(point, BROKEN_WIRE)
        on = asm.bit()
        # The command moves down a line, one place a scan; the last place works the actuator.
        line = [asm.bit() for _ in range(asm.scans(kind_of(point).delay_ms))]
        picked = line[-1] if line else asm.series([command, power], [broken])
        asm.move_to(on, asm.or_(asm.and_not(picked, dead), asm.and_(welded, on)))
        for later, earlier in pairwise(reversed(line)):
            asm.copy_to(later, earlier)
        if line:
            asm.move_to(line[0], asm.series([command, power], [broken]))
        return on


def hand_control(asm: Assembler, name: str, on_at_start: bool, *, free: bool) -> int:
    """A control of the plant that no program owns, as ``panel.<name>``."""
    control = asm.choice() if free else asm.control(on_at_start)
    asm.define(f"panel.{name}", Bit(control))
    return control


def _plane(signal: Signal) -> int:
    assert isinstance(signal, Bit), "a contact is actuated by a BOOL"
    return signal.plane
