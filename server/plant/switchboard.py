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
from server.plant.device_kind import BROKEN_WIRE, NO_PICK_UP, STUCK_OFF, STUCK_ON, WELDED
from server.plant.devices import kind_of
from server.scan.assembler import Assembler, Bit, Signal, Word
from server.scan.instructions import FALSE, TRUE, Op


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
        """Return the plane ``power``, TRUE at the start: the supply of controller and outputs."""
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
        image = asm.word()
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


def _plane(signal: Signal) -> int:
    assert isinstance(signal, Bit), "a contact is actuated by a BOOL"
    return signal.plane
