"""A plant on its own in 64 lanes: its actuators are switched by hand, its senses are read."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.plant.physics import advance
from server.plant.plant import Plant
from server.plant.step import PlantStep
from server.plant.track import ItemRows
from server.scan.assembler import Assembler, Bit, Machine, Quantity, Word
from server.scan.instructions import INT_PLANES
from server.scan.kernel import execute
from server.scan.lanes import ALL


def actuators_of(plant: Plant) -> list[str]:
    """The symbols of all output points that a plant is worked by."""
    drives = (drive.symbol for part in plant.parts for drive in part.drives())
    return sorted({symbol for symbol in drives if symbol not in plant.tags})


@dataclass(slots=True)
class Rig:
    """One plant; all lanes start alike. ``thresholds`` are asked for by quantity and value."""

    plant: Plant
    period_ms: int = 10
    thresholds: Iterable[tuple[str, float]] = ()
    step: PlantStep = field(init=False)
    machine: Machine = field(init=False)
    bits: NDArray[np.uint64] = field(init=False)
    quantities: NDArray[np.float64] = field(init=False)
    parameters: NDArray[np.float64] = field(init=False)
    actuators: dict[str, int] = field(init=False)
    asked: dict[tuple[str, float], int] = field(init=False)

    def __post_init__(self) -> None:
        asm = Assembler(self.period_ms)
        self.actuators = {name: asm.control() for name in actuators_of(self.plant)}
        self.step = PlantStep(self.plant, asm)
        self.asked = {
            (name, value): self.step.gauges[name].at_least(value) for name, value in self.thresholds
        }
        with asm.section("plant"):
            self.step.emit(self.actuators)
        self.machine = asm.machine()
        self.bits = self.machine.initial.copy()
        self.quantities = self.machine.quantities.copy()
        self.parameters = self.machine.parameters.copy()
        self.sense()

    @property
    def items(self) -> ItemRows:
        """Where the items of a line stand."""
        assert self.step.items is not None
        return self.step.items

    def turn(self, name: str, on: bool, lanes: np.uint64 = ALL) -> None:
        """Switch an actuator, or a hand control as ``panel.<name>``."""
        if name in self.actuators:
            plane = self.actuators[name]
        else:
            signal = self.machine.symbols[name]
            assert isinstance(signal, Bit)
            plane = signal.plane
        self.bits[plane] = self.bits[plane] | lanes if on else self.bits[plane] & ~lanes

    def run(self, scans: int = 1) -> None:
        """Advance the plant by some scans."""
        section = self.machine.sections["plant"]
        m = self.machine
        for _ in range(scans):
            execute(m.code, section.first, section.last, self.bits, m.initial, m.table)
            self._physics("advance")
            self.sense()

    def sense(self) -> None:
        """Take the senses again, after quantities were set."""
        self._physics("sense")

    def value(self, name: str, lane: int = 0) -> float:
        """A quantity in one lane."""
        signal = self.machine.symbols[name]
        assert isinstance(signal, Quantity)
        return float(self.quantities[signal.row, lane])

    def set(self, name: str, value: float) -> None:
        """Set a quantity in all lanes and let the plant sense it."""
        signal = self.machine.symbols[name]
        assert isinstance(signal, Quantity)
        self.quantities[signal.row] = value
        self.sense()

    def sensed(self, tag: str, lane: int = 0) -> int:
        """What the plant actuates: 0 or 1, or a transmitter's INT."""
        signal = self.step.senses[tag]
        if isinstance(signal, Word):
            return sum(self.plane(signal.base + i, lane) << i for i in range(INT_PLANES))
        assert isinstance(signal, Bit)
        return self.plane(signal.plane, lane)

    def plane(self, plane: int, lane: int = 0) -> int:
        """One plane in one lane."""
        return int(self.bits[plane]) >> lane & 1

    def _physics(self, name: str) -> None:
        m, section = self.machine, self.machine.physics_sections[name]
        advance(m.physics, section.first, section.last, self.bits, self.quantities, self.parameters)
