"""Random inputs and power losses, other ones in each of the 64 lanes."""

import random

from server.ladder.program import Program
from server.scan.lanes import LANES

LaneValues = dict[str, list[int]]


class Stimulus:
    """Random inputs and supply, other ones in each lane; the same for the same seed."""

    def __init__(self, program: Program, seed: int) -> None:
        self.random = random.Random(seed)
        self.inputs: LaneValues = {
            v.address: [0] * LANES
            for v in program.variables
            if v.address is not None and v.address.startswith("%I")
        }
        self.is_bit = {v.address: v.type == "BOOL" for v in program.variables}

    def next(self) -> tuple[LaneValues, list[int]]:
        """Inputs of the next scan by address, and which lanes have supply."""
        for address, values in self.inputs.items():
            for lane in range(LANES):
                # A signal that mostly stays lets timers run out.
                if self.random.random() < 0.3:
                    values[lane] = self._value(self.is_bit[address])
        return self.inputs, [int(self.random.random() < 0.95) for _ in range(LANES)]

    def _value(self, is_bit: bool) -> int:
        if is_bit:
            return self.random.getrandbits(1)
        return self.random.choice([self.random.randint(-4, 7), self.random.randint(-32768, 32767)])
