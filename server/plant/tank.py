"""Tank plants: one concrete step, with levels, and one abstract step, with regions of level."""

from collections.abc import Collection, Mapping

from server.plant.devices import hand_control
from server.plant.gauge import Gauge
from server.plant.model import Outlet, Stream, TankPlant, Vessel
from server.plant.motion import Motion
from server.plant.physics import ANALOG_TOP, NOWHERE, PhysicsOp
from server.plant.reading import Reading
from server.scan.assembler import Assembler, Bit, Quantity, Signal, Word
from server.scan.instructions import FALSE, INT_PLANES


class TankStep:
    """A tank plant in one machine.

    ``senses`` has what the plant actuates by the device's tag, ``gauges`` the quantities by name;
    ``lengths`` are those in metres. First ask for senses and thresholds, then ``emit``.

    ``edges`` has the numbers at which a transmitter's number becomes another one to the program,
    by tag; without them it is open in an abstract machine, which takes 14 choices.
    """

    def __init__(
        self,
        plant: TankPlant,
        asm: Assembler,
        *,
        abstract: bool = False,
        edges: Mapping[str, Collection[int]] | None = None,
    ) -> None:
        self._plant = plant
        self._asm = asm
        self._abstract = abstract
        self._motion = Motion(plant.axes, plant.positions, asm, abstract=abstract)
        self._levels = {v.name: self._level(v) for v in plant.vessels}
        parts: tuple[Stream | Outlet, ...] = (*plant.streams, *plant.outlets)
        self._hands = {
            part.name: hand_control(asm, part.name, part.on_at_start, free=abstract)
            for part in parts
            if part.actuator is None
        }
        self.gauges: dict[str, Gauge] = {g.name: g for g in self._levels.values()}
        self.lengths = frozenset(self.gauges)
        self.gauges |= self._motion.gauges
        self.senses: dict[str, Signal] = dict(self._motion.senses)
        for switch in plant.switches:
            covered = self._levels[switch.vessel].at_least(
                switch.height, switch.height - switch.hysteresis
            )
            self.senses[switch.tag] = Bit(covered)
        self.readings: dict[str, Reading] = {}
        for transmitter in plant.transmitters:
            if abstract:
                known = (edges or {}).get(transmitter.tag)
                reading = Reading(asm, self._levels[transmitter.vessel], known)
                self.readings[transmitter.tag] = reading
                self.senses[transmitter.tag] = reading.word
            else:
                self.senses[transmitter.tag] = Word(asm.planes(INT_PLANES))

    def planes_at(self, values: Mapping[str, float]) -> dict[int, bool]:
        """The abstract planes when quantities stand at ``values``, the others as at the start."""
        planes: dict[int, bool] = {}
        for name, gauge in self.gauges.items():
            planes |= gauge.planes_at(values.get(name, gauge.start))
        for transmitter in self._plant.transmitters:
            reading, gauge = self.readings[transmitter.tag], self._levels[transmitter.vessel]
            level = values.get(gauge.name, gauge.start)
            planes |= reading.planes_at(reading.number_at(level))
        return planes

    def emit(self, actuators: Mapping[str, int]) -> None:
        """Emit the plant's step behind the output stage; ``actuators`` are planes by symbol."""
        if self._abstract:
            self._wander(actuators)
            return
        asm = self._asm
        with asm.physics_section("advance"):
            self._motion.advance(actuators)
            self._advance(actuators)
        with asm.physics_section("sense"):
            for gauge in self.gauges.values():
                gauge.measure()
            for transmitter in self._plant.transmitters:
                self._transmit(transmitter.tag, self._plant.vessel(transmitter.vessel))

    # -- the concrete step --------------------------------------------------------------------

    def _advance(self, actuators: Mapping[str, int]) -> None:
        asm, plant = self._asm, self._plant
        dt = asm.period_ms / 1000
        flows = {v.name: asm.quantity() for v in plant.vessels}
        drains = {o.vessel: asm.quantity() for o in plant.outlets}
        for stream in plant.streams:
            rate = asm.parameter(f"{stream.name}.rate", stream.rate)
            on = self._running(stream, actuators)
            if stream.source is not None and stream.target is not None:
                source = plant.vessel(stream.source)
                area = asm.parameter(f"{stream.name}.source area per scan", source.area / dt)
                asm.emit_physics(PhysicsOp.PUMP, flows[source.name], flows[stream.target], on,
                                 rate, self._row(source), area)  # fmt: skip
            elif stream.target is not None:
                asm.emit_physics(PhysicsOp.FLOW, flows[stream.target], on, rate, 1)
            elif stream.source is not None:
                asm.emit_physics(PhysicsOp.FLOW, flows[stream.source], on, rate, -1)
        for outlet in plant.outlets:
            drain = asm.parameter(f"{outlet.name}.drain", outlet.drain)
            on = self._running(outlet, actuators)
            asm.emit_physics(PhysicsOp.FLOW, drains[outlet.vessel], on, drain, 1)
        for v in plant.vessels:
            top = asm.parameter(f"{v.name}.height", v.height)
            if v.name not in drains:
                per_area = asm.parameter(f"{v.name}.scan per area", dt / v.area)
                bottom = asm.parameter(f"{v.name}.bottom", 0.0)
                asm.emit_physics(PhysicsOp.INTEGRATE, self._row(v), flows[v.name], per_area,
                                 bottom, top)  # fmt: skip
                continue
            half = asm.parameter(f"{v.name}.half scan per area", dt / (2 * v.area))
            ends = {o.target for o in plant.outlets if o.vessel == v.name}
            end = ends.pop()
            target = NOWHERE if end is None else flows[end]
            asm.emit_physics(PhysicsOp.TANK, self._row(v), flows[v.name], drains[v.name], half,
                             top, target)  # fmt: skip

    def _transmit(self, tag: str, vessel: Vessel) -> None:
        word = self.senses[tag]
        assert isinstance(word, Word), "a transmitter gives an INT"
        low = self._asm.parameter(f"{tag}.low", 0.0)
        per_metre = self._asm.parameter(f"{tag}.per metre", ANALOG_TOP / vessel.height)
        self._asm.emit_physics(PhysicsOp.ANALOG, word.base, self._row(vessel), low, per_metre)

    # -- the abstract step --------------------------------------------------------------------

    def _wander(self, actuators: Mapping[str, int]) -> None:
        asm, plant = self._asm, self._plant
        may_rise = {v.name: FALSE for v in plant.vessels}
        may_fall = {v.name: FALSE for v in plant.vessels}
        moves = [(s.source, s.target, self._running(s, actuators)) for s in plant.streams]
        moves += [(o.vessel, o.target, self._running(o, actuators)) for o in plant.outlets]
        for source, target, on in moves:
            if source is not None:
                may_fall[source] = asm.or_(may_fall[source], on)
            if target is not None:
                may_rise[target] = asm.or_(may_rise[target], on)
        for name, gauge in self._levels.items():
            gauge.wander(may_rise[name], may_fall[name])
        for reading in self.readings.values():
            reading.wander()
        self._motion.wander(actuators)

    # -- both ---------------------------------------------------------------------------------

    def _level(self, vessel: Vessel) -> Gauge:
        name = f"{vessel.name}.level"
        row = None if self._abstract else self._asm.quantity(vessel.start_level)
        if row is not None:
            self._asm.define(name, Quantity(row, "m"))
        return Gauge(self._asm, name, row, 0.0, vessel.height, vessel.start_level)

    def _running(self, part: Stream | Outlet, actuators: Mapping[str, int]) -> int:
        return self._hands[part.name] if part.actuator is None else actuators[part.actuator]

    def _row(self, vessel: Vessel) -> int:
        row = self._levels[vessel.name].row
        assert row is not None, "an abstract vessel has no level"
        return row
