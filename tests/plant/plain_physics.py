"""The physics of one lane in plain Python: what ``plant.physics`` is held against, to the bit."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

from server.plant.physics import ANALOG_TOP, PhysicsOp
from server.scan.instructions import INT_PLANES

NO_ITEM = -inf


@dataclass(slots=True)
class Lane:
    """One lane's planes, quantities and parameters."""

    bits: list[bool]
    q: list[float]
    p: list[float]

    def run(self, op: PhysicsOp, operands: Sequence[int]) -> None:
        """Execute one instruction."""
        getattr(self, op.name.lower())(*operands)

    def flow(self, flow: int, on: int, rate: int, sign: int) -> None:
        if self.bits[on]:
            self.q[flow] += sign * self.p[rate]

    def pump(self, source: int, target: int, on: int, rate: int, level: int, area: int) -> None:
        if self.bits[on]:
            held = max(self.q[level] * self.p[area] + self.q[source], 0.0)
            moved = min(self.p[rate], held)
            self.q[source] -= moved
            self.q[target] += moved

    def integrate(self, row: int, flow: int, scale: int, low: int, high: int) -> None:
        moved = self.q[row] + self.q[flow] * self.p[scale]
        self.q[row] = min(max(moved, self.p[low]), self.p[high])
        self.q[flow] = 0.0

    def tank(self, level: int, flow: int, drain: int, half: int, top: int, target: int) -> None:
        added = self.q[flow] * self.p[half]
        h = max(self.q[level] + added, 0.0)
        root = sqrt(h)
        fall = min(self.q[drain] * self.p[half], root)
        drained = min(fall * (2 * root - fall), h)
        self.q[level] = min(max(h - drained + added, 0.0), self.p[top])
        self.q[flow] = self.q[drain] = 0.0
        if target >= 0:
            self.q[target] += drained / (2 * self.p[half])

    def ramp(self, speed: int, on: int, full: int, step: int) -> None:
        change = self.p[step] if self.bits[on] else -self.p[step]
        self.q[speed] = min(max(self.q[speed] + change, 0.0), self.p[full])

    # -- a line of items: (front, kind, wanted front), the front-most item first ---------------

    def items(self, base: int, slots: int) -> list[list[float]]:
        rows = ([self.q[base + block * slots + i] for block in range(3)] for i in range(slots))
        return [item for item in rows if item[0] > NO_ITEM]

    def put(self, base: int, slots: int, items: list[list[float]]) -> None:
        for i in range(slots):
            for block in range(3):
                there = i < len(items)
                self.q[base + block * slots + i] = items[i][block] if there else NO_ITEM

    def carry(self, base: int, slots: int, speed: int, begin: int, end: int, dt: int) -> None:
        items = self.items(base, slots)
        for item in items:
            if self.p[begin] <= item[0] < self.p[end]:
                item[2] += self.q[speed] * self.p[dt]
        self.put(base, slots, items)

    def hold(self, base: int, slots: int, on: int, at: int) -> None:
        items = self.items(base, slots)
        for item in items:
            if self.bits[on] and item[0] <= self.p[at]:
                item[2] = min(item[2], self.p[at])
        self.put(base, slots, items)

    def settle(self, base: int, slots: int, pitch: int) -> None:
        items = self.items(base, slots)
        free = inf
        for item in items:
            item[0] = item[2] = max(item[0], min(item[2], free))
            free = item[0] - self.p[pitch]
        self.put(base, slots, items)

    def leave(self, base: int, slots: int, end: int, good: int, marked: int) -> None:
        items = self.items(base, slots)
        if items and items[0][0] >= self.p[end]:
            self.q[marked if items[0][1] else good] += 1
            self.put(base, slots, items[1:])

    def push(
        self, base: int, slots: int, on: int, at: int, length: int, good: int, marked: int
    ) -> None:
        items = self.items(base, slots)
        kept = []
        for item in items:
            if self.bits[on] and 0 <= item[0] - self.p[at] < self.p[length]:
                self.q[marked if item[1] else good] += 1
            else:
                kept.append(item)
        self.put(base, slots, kept)

    def feed(self, base: int, slots: int, on: int, feed: int, since: int, fed: int) -> None:
        length, pitch, scans, every = self.p[feed : feed + 4]
        self.q[since] += 1
        if not self.bits[on] or self.q[since] < scans:
            return
        items = self.items(base, slots)
        if len(items) == slots or any(abs(item[0] - length) < pitch for item in items):
            return
        kind = float(every > 0 and (self.q[fed] + 1) % every == 0)
        self.put(base, slots, sorted([*items, [length, kind, length]], reverse=True))
        self.q[fed] += 1
        self.q[since] = 0.0

    # -- senses -------------------------------------------------------------------------------

    def at_least(self, plane: int, row: int, rise: int, fall: int) -> None:
        if self.q[row] >= self.p[rise]:
            self.bits[plane] = True
        elif self.q[row] < self.p[fall]:
            self.bits[plane] = False

    def between(self, plane: int, row: int, low: int, high: int) -> None:
        self.bits[plane] = self.p[low] <= self.q[row] <= self.p[high]

    def eye(self, plane: int, base: int, slots: int, at: int, length: int, kind: int) -> None:
        self.bits[plane] = any(
            0 <= front - self.p[at] < self.p[length] and kind in (-1, of_kind)
            for front, of_kind, _ in self.items(base, slots)
        )

    def analog(self, planes: int, row: int, low: int, per_unit: int) -> None:
        value = (self.q[row] - self.p[low]) * self.p[per_unit]
        count = int(min(max(value, 0.0), ANALOG_TOP) + 0.5)
        for i in range(INT_PLANES):
            self.bits[planes + i] = bool(count >> i & 1)
