"""A transmitter's number in an abstract machine: known as far as the program can tell.

A program that only compares the number with literals can't tell numbers apart that lie between
the same two edges of its comparisons, so that one of each stretch stands for all. Where more is
done with it, the number is open altogether.
"""

from collections.abc import Collection, Mapping

from server.plant.gauge import Gauge
from server.plant.physics import ANALOG_TOP
from server.scan.assembler import Assembler, Word
from server.scan.instructions import FALSE, INT_PLANES


class TransmitterReading:
    """The INT of one transmitter.

    ``edges`` are the numbers at which another stretch begins, None where that is not known.
    """

    def __init__(self, asm: Assembler, gauge: Gauge, edges: Collection[int] | None) -> None:
        self._asm = asm
        self._open = edges is None
        known = {n for n in edges or () if 0 < n <= ANALOG_TOP}
        self._steps = [
            (n, gauge.at_least(least_value(n, gauge.low, gauge.high))) for n in sorted(known)
        ]
        self._gauge = gauge
        self.word = Word(asm.planes(INT_PLANES, self._stands_for(self.number_at(gauge.start))))

    @property
    def edges(self) -> tuple[int, ...]:
        """The edges within the range, in order."""
        return tuple(number for number, _ in self._steps)

    def number_at(self, value: float) -> int:
        """Return what the transmitter gives at a value, like ``PhysicsOp.ANALOG``."""
        low, high = self._gauge.low, self._gauge.high
        return int(min(max((value - low) * ANALOG_TOP / (high - low), 0.0), ANALOG_TOP) + 0.5)

    def planes_while(self, values: Mapping[str, float]) -> dict[int, bool]:
        """Return its planes while quantities stand at ``values``, others as at the start."""
        return self.planes_at(self.number_at(values.get(self._gauge.name, self._gauge.start)))

    def planes_at(self, number: int) -> dict[int, bool]:
        """Return what each plane is while the transmitter gives ``number``."""
        planes = {plane: number >= n for n, plane in self._steps}
        stands = self._stands_for(number)
        return planes | {self.word.base + i: bool(stands >> i & 1) for i in range(INT_PLANES)}

    def _stands_for(self, number: int) -> int:
        if self._open:
            return number
        return max((n for n, _ in self._steps if number >= n), default=0)

    def emit_abstract(self) -> None:
        """Emit the number after the abstract step of its gauge."""
        asm = self._asm
        for bit in range(INT_PLANES):
            plane = FALSE
            if self._open and bit < ANALOG_TOP.bit_length():
                plane = asm.choice()
            ends = [*(plane for _, plane in self._steps[1:]), FALSE]
            for (number, reached), above in zip(self._steps, ends, strict=False):
                if number >> bit & 1:
                    plane = asm.or_(plane, asm.and_not(reached, above))
            asm.copy_to(self.word.base + bit, plane)


def least_value(number: int, low: float, high: float) -> float:
    """Return the lowest value at which a transmitter from ``low`` to ``high`` gives ``number``."""
    return low + (number - 0.5) * (high - low) / ANALOG_TOP
