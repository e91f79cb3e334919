"""One machine that a plant is built into, as the plant's parts see it."""

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Any, TypeVar

from server.plant.gauge import Gauge
from server.plant.parts_view import Parts, Switched
from server.plant.physics import ANALOG_TOP, PhysicsOp
from server.plant.reading import TransmitterReading
from server.plant.track import ItemRows
from server.scan.assembler import Assembler, Bit, Quantity, Signal, Word
from server.scan.instructions import FALSE, INT_PLANES

State = TypeVar("State")

MILLIMETERS = 1000.0
"""Scale of a length: conditions compare millimetres."""


@dataclass(slots=True)
class Site:
    """A concrete machine, or an ``abstract`` one in which only regions of quantities are left.

    ``gauges`` are the quantities by name, ``senses`` what the plant actuates by the device's tag,
    ``readings`` an abstract machine's numbers by tag, ``items`` where a concrete one's items stand.
    ``edges`` has the numbers at which a transmitter's number becomes another one to the program,
    by tag; without them it is open in an abstract machine, which takes 14 choices.
    ``actuators`` are planes by symbol, known once the step is emitted. ``rates`` are the parameters
    that a real plant may have otherwise: a proof holds for any of them, and replays vary them. In
    an abstract machine a hand may put items down and take them away while ``hand_on_items`` is on.
    """

    parts: Parts
    asm: Assembler
    abstract: bool
    edges: Mapping[str, Collection[int]]
    gauges: dict[str, Gauge] = field(default_factory=dict)
    senses: dict[str, Signal] = field(default_factory=dict)
    readings: dict[str, TransmitterReading] = field(default_factory=dict)
    items: ItemRows | None = None
    actuators: Mapping[str, int] = field(default_factory=dict)
    rates: set[str] = field(default_factory=set)
    hand_on_items: int = FALSE
    _hands: dict[str, int] = field(default_factory=dict)
    _rows: dict[str, int] = field(default_factory=dict)
    _rising: dict[str, int] = field(default_factory=dict)
    _falling: dict[str, int] = field(default_factory=dict)
    _kept: dict[Hashable, Any] = field(default_factory=dict)

    @property
    def period(self) -> float:
        """The scan period in s."""
        return self.asm.period_ms / 1000

    # -- quantities ---------------------------------------------------------------------------

    def gauge(
        self,
        name: str,
        low: float,
        high: float,
        start: float,
        *,
        unit: str = "",
        scale: float = 1.0,
    ) -> Gauge:
        """Make a quantity that boundaries can be asked of, under the signal ``name``."""
        row = None if self.abstract else self.asm.quantity(start)
        if row is not None:
            self.asm.define(name, Quantity(row, unit))
        self.gauges[name] = Gauge(self.asm, name, row, low, high, start, scale)
        return self.gauges[name]

    def count(self, name: str) -> None:
        """Make a quantity that counts from 0."""
        self.gauge(name, 0.0, inf, 0.0)

    def row(self, name: str) -> int:
        """Return a row of a concrete machine: that of a gauge, or one without a signal."""
        if name in self.gauges:
            row = self.gauges[name].row
            assert row is not None, "an abstract machine has no quantities"
            return row
        if name not in self._rows:
            self._rows[name] = self.asm.quantity()
        return self._rows[name]

    def rate(self, name: str, value: float) -> int:
        """Make a parameter of which a real plant may have another value."""
        self.rates.add(name)
        return self.asm.parameter(name, value)

    @property
    def item_rows(self) -> tuple[int, int]:
        """Base and slots of a concrete machine's items, as physics instructions name them."""
        assert self.items is not None, "a line has been allocated"
        return self.items.base, self.items.slots

    # -- transmitters -------------------------------------------------------------------------

    def add_transmitter(self, tag: str, gauge: str) -> None:
        """Make the number of a transmitter: 0 at the gauge's lowest, ANALOG_TOP at its highest."""
        if self.abstract:
            reading = TransmitterReading(self.asm, self.gauges[gauge], self.edges.get(tag))
            self.readings[tag] = reading
            self.senses[tag] = reading.word
        else:
            self.senses[tag] = Word(self.asm.planes(INT_PLANES))

    def transmit(self, tag: str, gauge: str) -> None:
        """Emit the concrete number of a transmitter."""
        word, measured = self.senses[tag], self.gauges[gauge]
        assert isinstance(word, Word), "a transmitter gives an INT"
        low = self.asm.parameter(f"{tag}.low", measured.low)
        per_unit = ANALOG_TOP / (measured.high - measured.low)
        scale = self.asm.parameter(f"{tag}.per unit", per_unit)
        self.asm.emit_physics(PhysicsOp.ANALOG, word.base, self.row(gauge), low, scale)

    # -- what works a part --------------------------------------------------------------------

    def add_hand(self, name: str, on_at_start: bool) -> None:
        """Make a control of the plant that no program owns, as ``panel.<name>``."""
        control = self.asm.choice() if self.abstract else self.asm.control(on_at_start)
        self.asm.define(f"panel.{name}", Bit(control))
        self._hands[name] = control

    def hand(self, name: str) -> int:
        """Return the plane of a control of the plant."""
        return self._hands[name]

    def running(self, part: Switched) -> int:
        """Return the plane of what turns a part on: its actuator, or a hand."""
        return self._hands[part.name] if part.actuator is None else self.actuators[part.actuator]

    def actuating_plane(self, symbol: str) -> int:
        """Return the plane of an actuator, or of the sensor with this tag."""
        plane = self.actuators.get(symbol)
        if plane is None:
            sense = self.senses[symbol]
            assert isinstance(sense, Bit), "a position switch is a BOOL"
            plane = sense.plane
        return plane

    # -- the abstract step --------------------------------------------------------------------

    def may_rise(self, name: str, on: int) -> None:
        """Note that a gauge may rise while the plane ``on`` is TRUE."""
        self._rising[name] = self.asm.or_(self._rising.get(name, FALSE), on)

    def may_fall(self, name: str, on: int) -> None:
        """Note that a gauge may fall while the plane ``on`` is TRUE."""
        self._falling[name] = self.asm.or_(self._falling.get(name, FALSE), on)

    def emit_gauges(self) -> None:
        """Emit the abstract step of every gauge, then the numbers that transmitters give."""
        for name, gauge in self.gauges.items():
            gauge.emit_abstract(self._rising.get(name, FALSE), self._falling.get(name, FALSE))
        for reading in self.readings.values():
            reading.emit_abstract()

    # -- what a part keeps for itself ---------------------------------------------------------

    def keep(self, part: Hashable, state: object) -> None:
        """Keep what a part has made while it was allocated."""
        self._kept[part] = state

    def kept(self, part: Hashable, kind: type[State]) -> State:
        """Return what ``keep`` was given."""
        state = self._kept[part]
        assert isinstance(state, kind), f"{part} keeps a {kind.__name__}"
        return state
