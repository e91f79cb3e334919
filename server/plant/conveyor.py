"""Conveyor plants: the concrete step moves items, the abstract one regions of the line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

from server.plant.conveyor_regions import Regions, Removal
from server.plant.devices import hand_control
from server.plant.gauge import Gauge
from server.plant.model import Belt, ConveyorPlant, Pusher, Stop
from server.plant.motion import Motion
from server.plant.physics import ABSENT, NOWHERE, PhysicsOp
from server.scan.assembler import Assembler, Bit, Quantity, Signal
from server.scan.instructions import FALSE

MARKED = 1
"""The kind of a marked item; good ones have kind 0."""

ROUNDING = 1e-9
"""What thousands of small steps may lose, m: an item leaves or is laid down when it should."""


@dataclass(frozen=True, slots=True)
class Line:
    """The block of quantity rows that holds the items (``plant.physics``), and their measures.

    ``room`` is how far apart fronts must be for an item to be laid down, m.
    """

    name: str
    base: int
    slots: int
    room: float
    item_length: float
    length: float


def room(plant: ConveyorPlant) -> float:
    """How far apart the fronts of two items must be, m: a pitch, but for rounding."""
    return plant.pitch - ROUNDING


class ConveyorStep:
    """A conveyor plant in one machine.

    ``senses`` has what the plant actuates by the device's tag, ``gauges`` the quantities by name,
    none of them in metres (``lengths``); ``line`` is None in an abstract machine. First ask for
    senses and thresholds, then ``emit``.
    """

    def __init__(self, plant: ConveyorPlant, asm: Assembler, *, abstract: bool = False) -> None:
        self._plant = plant
        self._asm = asm
        self._dt = asm.period_ms / 1000
        self._check_speed()
        self._motion = Motion(plant.axes, plant.positions, asm, abstract=abstract)
        self._hands = {
            belt.name: hand_control(asm, belt.name, belt.on_at_start, free=abstract)
            for belt in plant.belts
            if belt.actuator is None
        }
        self._feeding = FALSE
        if plant.feeder is not None:
            on = plant.feeder.on_at_start
            self._feeding = hand_control(asm, "feeder", on, free=abstract)
        self._exit_blocked = hand_control(asm, "exit_blocked", False, free=abstract)
        self.line = None if abstract else self._items()
        counted = [f"{plant.name}.{what}" for what in ("fed", "passed", "passed_marked")]
        counted += [
            f"{p.name}.{what}" for p in plant.pushers for what in ("pushed", "pushed_marked")
        ]
        self.gauges: dict[str, Gauge] = {name: self._count(name) for name in counted}
        self.gauges |= self._motion.gauges
        self.lengths: frozenset[str] = frozenset()
        self.regions = Regions(plant, asm, self._dt) if abstract else None
        self._eyes = (
            self.regions.eyes if self.regions else {eye.tag: asm.bit() for eye in plant.eyes}
        )
        self.senses: dict[str, Signal] = dict(self._motion.senses)
        self.senses |= {tag: Bit(plane) for tag, plane in self._eyes.items()}

    def planes_at(
        self, values: Mapping[str, float], items: Sequence[tuple[float, bool]] = ()
    ) -> dict[int, bool]:
        """The abstract planes when quantities stand at ``values``, the others as at the start.

        ``items`` are front edges in m and marks.
        """
        assert self.regions is not None, "a concrete conveyor has no regions"
        planes = self.regions.planes_at(items)
        for name, gauge in self.gauges.items():
            planes |= gauge.planes_at(values.get(name, gauge.start))
        return planes

    def emit(self, actuators: Mapping[str, int]) -> None:
        """Emit the plant's step behind the output stage; ``actuators`` are planes by symbol."""
        if self.regions is not None:
            self._wander(self.regions, actuators)
            return
        assert self.line is not None, "a concrete conveyor has items"
        with self._asm.physics_section("advance"):
            self._motion.advance(actuators)
            self._advance(self.line, actuators)
        with self._asm.physics_section("sense"):
            self._sense(self.line)

    # -- the concrete step --------------------------------------------------------------------

    def _advance(self, line: Line, actuators: Mapping[str, int]) -> None:
        asm, plant = self._asm, self._plant
        rows = (line.base, line.slots)
        scan = asm.parameter(f"{plant.name}.scan", self._dt)
        length = asm.parameter(f"{plant.name}.item length", plant.item_length)
        for belt in plant.belts:
            self._carry(rows, belt, scan, self._running(belt, actuators))
        for stop in plant.stops:
            at = asm.parameter(f"{stop.name}.at", stop.at)
            asm.emit_physics(PhysicsOp.HOLD, *rows, self._worked(stop, actuators), at)
        end = asm.parameter(f"{plant.name}.end", plant.length)
        asm.emit_physics(PhysicsOp.HOLD, *rows, self._exit_blocked, end)
        asm.emit_physics(PhysicsOp.SETTLE, *rows, asm.parameter(f"{plant.name}.pitch", plant.pitch))
        for pusher in plant.pushers:
            at = asm.parameter(f"{pusher.name}.at", pusher.at)
            on = self._worked(pusher, actuators)
            good, marked = self._rows(f"{pusher.name}.pushed")
            asm.emit_physics(PhysicsOp.PUSH, *rows, on, at, length, good, marked)
        gone = asm.parameter(f"{plant.name}.gone", plant.length + plant.item_length - ROUNDING)
        asm.emit_physics(PhysicsOp.LEAVE, *rows, gone, *self._rows(f"{plant.name}.passed"))
        if plant.feeder is not None:
            scans = max(1, round(plant.feeder.interval / self._dt))
            first = asm.parameter("feeder.length", plant.item_length)
            asm.parameter("feeder.pitch", room(plant))
            asm.parameter("feeder.scans", scans)
            asm.parameter("feeder.every", plant.feeder.marked_every)
            since, fed = asm.quantity(scans), self.gauges[f"{plant.name}.fed"].row
            assert fed is not None, "a concrete count has a row"
            asm.emit_physics(PhysicsOp.FEED, *rows, self._feeding, first, since, fed)

    def _carry(self, rows: tuple[int, int], belt: Belt, scan: int, on: int) -> None:
        asm, belts = self._asm, self._plant.belts
        begin = self._plant.begin_of(belt)
        first, last = belt is belts[0], belt is belts[-1]
        step = belt.speed if belt.run_up == 0 else belt.speed * self._dt / belt.run_up
        speed = asm.quantity()
        asm.define(f"{belt.name}.speed", Quantity(speed, "m/s"))
        full = asm.parameter(f"{belt.name}.speed", belt.speed)
        asm.emit_physics(
            PhysicsOp.RAMP, speed, on, full, asm.parameter(f"{belt.name}.speed per scan", step)
        )
        low = asm.parameter(f"{belt.name}.begin", -inf if first else begin)
        high = asm.parameter(f"{belt.name}.end", inf if last else begin + belt.length)
        asm.emit_physics(PhysicsOp.CARRY, *rows, speed, low, high, scan)

    def _sense(self, line: Line) -> None:
        asm, plant = self._asm, self._plant
        length = asm.parameter(f"{plant.name}.seen length", plant.item_length)
        for eye in plant.eyes:
            at = asm.parameter(f"{eye.tag}.at", eye.at)
            kind = MARKED if eye.marked_only else NOWHERE
            asm.emit_physics(
                PhysicsOp.EYE, self._eyes[eye.tag], line.base, line.slots, at, length, kind
            )
        for gauge in self.gauges.values():
            gauge.measure()

    def _items(self) -> Line:
        """The line's rows, without an item; positions and marks are signals for the drawing."""
        plant, slots = self._plant, self._plant.slots
        rows = [self._asm.quantity(ABSENT) for _ in range(3 * slots)]
        self._asm.quantity()
        for slot in range(slots):
            self._asm.define(f"{plant.name}.item{slot + 1}", Quantity(rows[slot], "m"))
            self._asm.define(f"{plant.name}.mark{slot + 1}", Quantity(rows[slots + slot]))
        return Line(plant.name, rows[0], slots, room(plant), plant.item_length, plant.length)

    def _rows(self, name: str) -> tuple[int, int]:
        """Rows that count good and marked items."""
        good, marked = self.gauges[name].row, self.gauges[f"{name}_marked"].row
        assert good is not None, "a concrete count has a row"
        assert marked is not None, "a concrete count has a row"
        return good, marked

    # -- the abstract step --------------------------------------------------------------------

    def _wander(self, regions: Regions, actuators: Mapping[str, int]) -> None:
        moving = [
            regions.coasting(belt, self._running(belt, actuators)) for belt in self._plant.belts
        ]
        pushing = {p.name: self._worked(p, actuators) for p in self._plant.pushers}
        removals = [Removal(p.at, pushing[p.name]) for p in self._plant.pushers]
        regions.wander(moving, removals, self._feeding)
        name = self._plant.name
        causes = {f"{name}.fed": self._feeding}
        causes |= {f"{name}.{what}": moving[-1] for what in ("passed", "passed_marked")}
        for pusher, plane in pushing.items():
            causes |= {f"{pusher}.{what}": plane for what in ("pushed", "pushed_marked")}
        for counted, cause in causes.items():
            self.gauges[counted].wander(cause, FALSE)
        self._motion.wander(actuators)

    # -- both ---------------------------------------------------------------------------------

    def _count(self, name: str) -> Gauge:
        row = None if self.line is None else self._asm.quantity()
        if row is not None:
            self._asm.define(name, Quantity(row))
        return Gauge(self._asm, name, row, 0.0, inf, 0.0)

    def _running(self, belt: Belt, actuators: Mapping[str, int]) -> int:
        return self._hands[belt.name] if belt.actuator is None else actuators[belt.actuator]

    def _worked(self, part: Stop | Pusher, actuators: Mapping[str, int]) -> int:
        """The plane of a stop that holds, or a pusher that is out."""
        plane = actuators.get(part.by)
        if plane is None:
            sense = self.senses[part.by]
            assert isinstance(sense, Bit), "a position switch is a BOOL"
            plane = sense.plane
        return plane if isinstance(part, Pusher) or part.holds_when else self._asm.not_(plane)

    def _check_speed(self) -> None:
        """In one scan an item goes less than its own length, and not from one eye to the next."""
        fastest = max(belt.speed for belt in self._plant.belts) * self._dt
        places = sorted({eye.at for eye in self._plant.eyes})
        room = min([self._plant.item_length, *(b - a for a, b in pairwise(places))])
        if fastest >= room:
            raise ValueError(
                f"{self._plant.name}: items go {fastest:g} m in a scan, so an eye may miss one. "
                f"Let them go less than {room:g} m: slower belts or a shorter scan period."
            )
