"""Axes: a lift, a turntable, a motor valve between two ends, with position switches."""

from collections.abc import Iterable, Mapping

from server.plant.gauge import Gauge
from server.plant.model import Axis, PositionSwitch
from server.plant.physics import PhysicsOp
from server.scan.assembler import Assembler, Bit, Quantity, Signal


class Motion:
    """The axes of one plant in one machine, concrete or abstract."""

    def __init__(
        self,
        axes: Iterable[Axis],
        switches: Iterable[PositionSwitch],
        asm: Assembler,
        *,
        abstract: bool,
    ) -> None:
        self._axes = tuple(axes)
        self._asm = asm
        self.gauges: dict[str, Gauge] = {}
        for axis in self._axes:
            row = None if abstract else asm.quantity(axis.start)
            name = f"{axis.name}.position"
            self.gauges[name] = Gauge(asm, name, row, 0.0, 100.0, axis.start)
            if row is not None:
                asm.define(name, Quantity(row, "%"))
        self.senses: dict[str, Signal] = {
            s.tag: Bit(
                self.gauges[f"{s.axis}.position"].between(s.at - s.width / 2, s.at + s.width / 2)
            )
            for s in switches
        }

    def advance(self, actuators: Mapping[str, int]) -> None:
        """Emit the concrete step, inside a section of physics."""
        asm = self._asm
        for axis in self._axes:
            gauge = self.gauges[f"{axis.name}.position"]
            assert gauge.row is not None, "an abstract axis has no position"
            travel = asm.quantity()
            forward = asm.parameter(f"{axis.name}.forward", 100 / axis.seconds_forward)
            back = asm.parameter(f"{axis.name}.back", 100 / axis.seconds_back)
            scan = asm.parameter(f"{axis.name}.scan", asm.period_ms / 1000)
            low = asm.parameter(f"{axis.name}.low", gauge.low)
            high = asm.parameter(f"{axis.name}.high", gauge.high)
            onward, backward = self._driven(axis, actuators)
            asm.emit_physics(PhysicsOp.FLOW, travel, onward, forward, 1)
            asm.emit_physics(PhysicsOp.FLOW, travel, backward, back, -1)
            asm.emit_physics(PhysicsOp.INTEGRATE, gauge.row, travel, scan, low, high)

    def wander(self, actuators: Mapping[str, int]) -> None:
        """Emit the abstract step: any way while both ways are driven."""
        for axis in self._axes:
            onward, backward = self._driven(axis, actuators)
            self.gauges[f"{axis.name}.position"].wander(onward, backward)

    def _driven(self, axis: Axis, actuators: Mapping[str, int]) -> tuple[int, int]:
        """Planes: driven forward, driven back. A spring pulls back while nothing drives forward."""
        onward = actuators[axis.forward]
        if axis.back is None:
            return onward, self._asm.not_(onward)
        return onward, actuators[axis.back]
