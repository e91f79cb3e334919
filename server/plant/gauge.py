"""A gauge: one quantity of the plant, and the boundaries at which something reads it.

A level switch, a position switch and a check's threshold are all boundaries. In a concrete
machine each is measured from the quantity. In an abstract one there is no quantity: only the
regions between boundaries are left, and choices say how far it moves in a scan.
"""

import math
from dataclasses import dataclass, field

from server.plant.physics import PhysicsOp
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, TRUE, Op


@dataclass(frozen=True, slots=True)
class Boundary:
    """On from ``rise`` upwards, off below ``fall`` (at most ``rise``), else as it was."""

    rise: float
    fall: float
    plane: int


@dataclass(frozen=True, slots=True)
class Window:
    """On while the quantity is in [low, high]."""

    low: float
    high: float
    plane: int


@dataclass(slots=True)
class Gauge:
    """A quantity in the range [low, high] that begins at ``start``.

    ``row`` holds it, or is None in an abstract machine. Conditions compare it with whole numbers,
    ``scale`` of which make one of the core's unit. All boundaries are asked for before ``measure``
    or ``emit_abstract`` is called.
    """

    asm: Assembler
    name: str
    row: int | None
    low: float
    high: float
    start: float
    scale: float = 1.0
    boundaries: list[Boundary] = field(default_factory=list)
    windows: list[Window] = field(default_factory=list)

    def at_least(self, rise: float, fall: float | None = None) -> int:
        """Return a plane: the quantity is at least ``rise``, with hysteresis down to ``fall``."""
        fall = rise if fall is None else fall
        if rise <= self.low:
            return TRUE
        if rise > self.high:
            return FALSE
        for boundary in self.boundaries:
            if (boundary.rise, boundary.fall) == (rise, fall):
                return boundary.plane
        plane = self.asm.bit(self.row is None and self.start >= rise)
        self.boundaries.append(Boundary(rise, fall, plane))
        return plane

    def more_than(self, value: float) -> int:
        """Return a plane: the quantity is more than ``value``."""
        return self.at_least(math.nextafter(value, math.inf))

    def between(self, low: float, high: float) -> int:
        """Return a plane: the quantity is in [low, high]."""
        plane = self.asm.bit(self.row is None and low <= self.start <= high)
        self.windows.append(Window(low, high, plane))
        if self.row is None:
            self.at_least(low)
            self.more_than(high)
        return plane

    def planes_at(self, value: float) -> dict[int, bool]:
        """Return what each plane is when the quantity has come to ``value`` from below."""
        planes = {b.plane: value >= b.rise for b in self.boundaries}
        return planes | {w.plane: w.low <= value <= w.high for w in self.windows}

    def measure(self) -> None:
        """Emit the concrete senses, inside a section of physics."""
        assert self.row is not None, "an abstract machine has no quantity to measure"
        for b in self.boundaries:
            rise = self._parameter("rise", b.rise)
            fall = rise if b.fall == b.rise else self._parameter("fall", b.fall)
            self.asm.emit_physics(PhysicsOp.AT_LEAST, b.plane, self.row, rise, fall)
        for w in self.windows:
            low, high = self._parameter("low", w.low), self._parameter("high", w.high)
            self.asm.emit_physics(PhysicsOp.BETWEEN, w.plane, self.row, low, high)

    def emit_abstract(self, may_rise: int, may_fall: int) -> None:
        """Emit the abstract step: up only where ``may_rise``, down only where ``may_fall``.

        Any number of boundaries may be crossed in a scan, and both ways where both are allowed.
        """
        for chain in _chains(self.boundaries):
            self._emit_chain(chain, may_rise, may_fall)
        for w in self.windows:
            inside = self.asm.and_not(self.at_least(w.low), self.more_than(w.high))
            self.asm.copy_to(w.plane, inside)

    def _emit_chain(self, chain: list[Boundary], may_rise: int, may_fall: int) -> None:
        """Choices name a new place in the chain; what may not move stays."""
        asm = self.asm
        choices = [asm.choice() for _ in range(len(chain).bit_length())]
        for number, boundary in enumerate(chain, 1):
            reached = asm.temporary()
            asm.emit(Op.UGE, reached, choices[0], len(choices), number)
            on = asm.and_(reached, asm.or_(boundary.plane, may_rise))
            stays = asm.and_not(boundary.plane, may_fall)
            asm.copy_to(boundary.plane, asm.or_(on, stays))

    def _parameter(self, what: str, value: float) -> int:
        return self.asm.parameter(f"{self.name} {what} {value:g}", value)


def _chains(boundaries: list[Boundary]) -> list[list[Boundary]]:
    """Boundaries in order, as chains in which the lower one is on whenever the higher one is.

    One chain, except where a boundary lies within the hysteresis of another: a switch at 1000 mm
    that drops out at 980 mm and a threshold of 990 mm can be on in any combination.
    """
    chains: list[list[Boundary]] = []
    for boundary in sorted(boundaries, key=lambda b: (b.rise, b.fall)):
        chain = next((c for c in chains if c[-1].fall <= boundary.fall), None)
        if chain is None:
            chains.append([boundary])
        else:
            chain.append(boundary)
    return chains
