"""Concrete runs as paths of the abstract step: what happened, and whether it can happen there."""

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.random import Generator, default_rng
from numpy.typing import NDArray

from server.plant.physics import ABSENT, insert_item
from server.plant.plant import Plant
from server.plant.regions import Regions
from server.plant.step import PlantStep
from server.scan.assembler import Assembler, Bit, Machine, Signal
from server.scan.kernel import execute
from server.scan.lanes import ALL, LANES, plane_of
from tests.plant.rig import Rig, actuators_of
from tests.scan.lane_run import lane_bits

Threshold = tuple[str, float]
Table = NDArray[np.bool_]
"""Rows of booleans: what each lane did in each scan."""

_PATTERNS = [plane_of((np.arange(LANES) >> bit) & 1 == 1) for bit in range(6)]


@dataclass(frozen=True, slots=True)
class Transitions:
    """Each different transition once: the planes before, what was worked, the planes after."""

    before: Table
    worked: Table
    after: Table


class Abstract:
    """The abstract step of a plant on its own."""

    def __init__(
        self,
        plant: Plant,
        thresholds: list[Threshold],
        period_ms: int,
        edges: dict[str, list[int]] | None = None,
    ) -> None:
        asm = Assembler(period_ms)
        actuators = {name: asm.control() for name in actuators_of(plant)}
        self.plant = plant
        self.step = PlantStep(plant, asm, abstract=True, edges=edges)
        for name, value in thresholds:
            self.step.gauges[name].at_least(value)
        with asm.section("plant"):
            self.step.emit(actuators)
        self.machine: Machine = asm.machine()
        hands = {n: s for n, s in self.machine.symbols.items() if n.startswith("panel.")}
        self.worked: dict[str, int] = actuators | {n: _plane(s) for n, s in hands.items()}
        self.choices = [c for c in self.machine.choices if c not in self.worked.values()]

    def has(self, before: Table, worked: Table, after: Table) -> bool:
        """Whether some choice leads from one state to the other."""
        m, section = self.machine, self.machine.sections["plant"]
        bits = m.initial.copy()
        for i in range(1 << max(0, len(self.choices) - 6)):
            for plane, on in zip(m.state, before, strict=True):
                bits[plane] = ALL if on else 0
            for plane, on in zip(self.worked.values(), worked, strict=True):
                bits[plane] = ALL if on else 0
            for number, plane in enumerate(self.choices):
                bits[plane] = (
                    _PATTERNS[number] if number < 6 else ALL if i >> (number - 6) & 1 else 0
                )
            execute(m.code, section.first, section.last, bits, m.initial, m.table)
            differs = np.uint64(0)
            for plane, on in zip(m.state, after, strict=True):
                differs |= bits[plane] ^ (ALL if on else np.uint64(0))
            if differs != ALL:
                return True
        return False

    def regions_of(self, rig: Rig, lane: int) -> dict[int, bool]:
        """The abstract state of one concrete lane: a value for each state plane."""
        planes: dict[int, bool] = {}
        for name, gauge in self.step.gauges.items():
            measured = rig.step.gauges[name]
            assert measured.row is not None
            value = float(rig.quantities[measured.row, lane])
            planes |= {b.plane: value >= b.rise for b in gauge.boundaries}
            planes |= {w.plane: w.low <= value <= w.high for w in gauge.windows}
            remembered = {(b.rise, b.fall): b.plane for b in measured.boundaries}
            for b in gauge.boundaries:
                if (b.rise, b.fall) in remembered:
                    planes[b.plane] = bool(rig.plane(remembered[b.rise, b.fall], lane))
        for tag, reading in self.step.readings.items():
            planes |= reading.planes_at(rig.sensed(tag, lane))
        if self.plant.line is not None:
            planes |= self._items(self.step.site.kept(self.plant.line, Regions), rig, lane)
        for relay in self.plant.overload_relays:
            planes[_plane(self.step.senses[relay.tag])] = bool(rig.sensed(relay.tag, lane))
        for contact in self.plant.auxiliary_contacts:
            planes[_plane(self.step.senses[contact.tag])] = bool(rig.sensed(contact.tag, lane))
        for belt in self.plant.belts:
            if belt.run_up > 0:
                planes[self.step.site.kept(belt, int)] = rig.value(f"{belt.name}.speed", lane) > 0
        return planes

    def _items(self, regions: Regions, rig: Rig, lane: int) -> dict[int, bool]:
        slots = rig.items.slots
        rows = rig.quantities[rig.items.base : rig.items.base + 2 * slots, lane].tolist()
        items = zip(rows[:slots], rows[slots:], strict=True)
        planes = regions.planes_at([(f, kind == 1) for f, kind in items if f > ABSENT])
        for tag, plane in regions.eyes.items():
            assert planes[plane] == bool(rig.sensed(tag, lane)), f"{tag} sees what the region says"
        return planes


def wander(rig: Rig, abstract: Abstract, rng: Generator, scans: int) -> Transitions:
    """Work a plant at random, differently in each lane, and note every transition."""
    names = list(abstract.worked)
    for name in names:
        rig.turn(name, False)
        rig.turn(name, True, plane_of(rng.random(LANES) < 0.5))
    rows: list[tuple[list[bool], list[bool], list[bool]]] = []
    before = [_row(abstract, rig, lane) for lane in range(LANES)]
    for _ in range(scans):
        for name in names:
            if rng.random() < 0.1:
                rig.turn(name, bool(rng.random() < 0.5), plane_of(rng.random(LANES) < 0.5))
        worked = np.array([lane_bits(rig.bits[_worked(rig, name)]) for name in names], np.bool_)
        rig.run()
        after = [_row(abstract, rig, lane) for lane in range(LANES)]
        for lane in range(LANES):
            on = worked[:, lane].tolist() if names else []
            rows.append((before[lane], on, after[lane]))
        before = after
    different = sorted(set(map(_flat, rows)))
    states = len(abstract.machine.state)
    table = np.array(different, np.bool_).reshape(len(different), -1)
    return Transitions(
        table[:, :states], table[:, states : states + len(names)], table[:, states + len(names) :]
    )


def missing(abstract: Abstract, found: Transitions) -> list[str]:
    """Transitions that the abstract step does not have, as text."""
    return [
        f"{before.astype(int)} {worked.astype(int)} -> {after.astype(int)}"
        for before, worked, after in zip(found.before, found.worked, found.after, strict=True)
        if not abstract.has(before, worked, after)
    ]


def check_paths(
    plant: Plant,
    thresholds: list[Threshold],
    seed: int,
    edges: dict[str, list[int]] | None = None,
    scans: int = 60,
    period_ms: int = 100,
) -> int:
    """Work a plant at random, from anywhere and at any rates: every run is an abstract path.

    Returns how many different transitions went from one abstract state to another.
    """
    rng = default_rng(seed)
    rig = Rig(plant, period_ms, thresholds)
    abstract = Abstract(plant, thresholds, period_ms, edges)
    for gauge in rig.step.gauges.values():
        if gauge.high < inf:
            assert gauge.row is not None
            rig.quantities[gauge.row] = rng.uniform(gauge.low, gauge.high, 64)
    for name, value in thresholds:
        gauge = rig.step.gauges[name]
        if gauge.high < inf and gauge.row is not None:
            # In every second lane it stands near to where something is told of it: so near in some
            # that even what moves slowly gets there.
            away = (gauge.high - gauge.low) * 10 ** rng.uniform(-6, -2, 32)
            near = value + away * rng.choice([-1, 1], 32)
            rig.quantities[gauge.row, 1::2] = np.clip(near, gauge.low, gauge.high)
    for name, row in rig.machine.parameter_rows.items():
        if name in rig.step.rates or name == "feeder.scans":
            rig.parameters[row] *= rng.uniform(0.1, 1.0, 64)
    if plant.track is not None:
        scatter(rig, rng.uniform(0, plant.track.length, (64, 4)).tolist())
    rig.sense()
    found = wander(rig, abstract, rng, scans)
    assert missing(abstract, found) == []
    return int((found.before != found.after).any(axis=1).sum())


def scatter(rig: Rig, places: list[list[float]]) -> None:
    """Lay items down at random, differently in each lane, every other one marked."""
    items = rig.items
    for lane, fronts in enumerate(places):
        for number, front in enumerate(fronts):
            place = (items.base, items.slots, items.track.pitch, lane, front)
            insert_item(rig.quantities, *place, number % 2)


def _row(abstract: Abstract, rig: Rig, lane: int) -> list[bool]:
    planes = abstract.regions_of(rig, lane)
    return [planes[plane] for plane in abstract.machine.state]


def _flat(row: tuple[list[bool], list[bool], list[bool]]) -> tuple[bool, ...]:
    return (*row[0], *row[1], *row[2])


def _worked(rig: Rig, name: str) -> int:
    return rig.actuators[name] if name in rig.actuators else _plane(rig.machine.symbols[name])


def _plane(signal: Signal) -> int:
    assert isinstance(signal, Bit)
    return signal.plane
