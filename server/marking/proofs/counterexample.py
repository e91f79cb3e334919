"""From a suspicion of the search to a scenario on the concrete plant, which alone counts.

The trail's operator actions are kept in their order. Between them the scenario waits until the
plant's own inputs are as the trail had them, so that the plant takes the time that it needs. The
scenario is tried with the exercise's plant in lane 0, and with other rates in the other lanes.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.ladder.elements import ContactKind, Relation
from server.ladder.points import Direction
from server.ladder.program import Comparison, Contact, Element, Name, Number, Program, Series
from server.marking.exercise import Exercise
from server.marking.expression import Expression
from server.marking.machine import HAND, Assembled, assemble
from server.marking.proofs.proof import SuspectedViolation, paced
from server.marking.replay import NEVER
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Step, Turn
from server.marking.timeline import timeline_of
from server.plant.devices import kind_of
from server.plant.loop import NO_RECORD, code_of, fresh_memory, fresh_progress, run, watch_planes
from server.scan.assembler import Bit
from server.scan.kernel import execute
from server.scan.lanes import LANES
from server.scan.reading import planar, planes_of, value_of

PATIENCE_MS = 120_000
"""How long a replay waits for the plant to come to where the trail has it."""

RUN_ON_MS = 60_000

SPREAD = 4.0
"""Rates of the plant are tried from a quarter to four times their value."""


@dataclass(frozen=True, slots=True)
class Counterexample:
    """A scenario in which a check fails on the concrete plant.

    ``monitor`` is the check's number in the concrete machine, ``scan`` that of the violation;
    ``nominal`` says whether it fails at the exercise's own rates.
    """

    scenario: Scenario
    monitor: int
    scan: int
    nominal: bool


def replay_suspicion(
    exercise: Exercise, program: Program, requirement: int, suspicion: SuspectedViolation
) -> Counterexample | None:
    """Replay a suspicion on the concrete plant; None when no lane violates the check."""
    for patient in (False, True):
        scenario = suspected_scenario(exercise, suspicion, patient=patient)
        assembled = assemble(replace(exercise, scenarios=(scenario,)), program)
        index = [i for n, i in sorted(assembled.monitor_numbers) if n == requirement]
        monitor = assembled.monitor_numbers[requirement, index[suspicion.monitor]]
        violated = _first_violations(assembled, scenario, monitor)
        lanes = np.flatnonzero(violated != NEVER)
        if lanes.size:
            lane = int(lanes[0])
            return Counterexample(scenario, monitor, int(violated[lane]), nominal=lane == 0)
    return None


def _first_violations(assembled: Assembled, scenario: Scenario, monitor: int) -> NDArray[np.int64]:
    memory = fresh_memory(assembled.machine)
    factors = SPREAD ** np.linspace(-1.0, 1.0, LANES - 1)
    for name, row in assembled.machine.parameter_rows.items():
        if name in assembled.rates:
            order = np.roll(factors, hash_of(name) % (LANES - 1))
            memory.parameters[row, 1:] *= order
    watch = watch_planes([assembled.monitors[monitor].violated])
    scans = (len(scenario.steps) * PATIENCE_MS + RUN_ON_MS) // assembled.machine.period_ms
    timeline = timeline_of([scenario] * LANES, assembled)
    run(
        code_of(assembled.machine),
        memory,
        timeline,
        fresh_progress(timeline),
        watch,
        NO_RECORD,
        assembled.running,
        min(scans, 60_000),
    )
    violated: NDArray[np.int64] = watch.first_seen[0]
    return violated


def hash_of(name: str) -> int:
    """Return a number that is the same in every process."""
    return sum((i + 1) * ord(c) for i, c in enumerate(name))


def suspected_scenario(
    exercise: Exercise, suspicion: SuspectedViolation, *, patient: bool = False
) -> Scenario:
    """Return the trail's operator actions, and waits for what the plant does between them.

    A ``patient`` operator changes nothing more once the plant is awaited: what the trail does just
    before the plant moves is done just after.
    """
    start = suspicion.assembled.starts[suspicion.trail.start]
    steps = list(_steps(exercise, suspicion))
    if patient:
        for i in range(len(steps) - 1, 0, -1):
            if steps[i].when is not None and steps[i - 1].when is None and i > 1:
                steps[i - 1], steps[i] = steps[i], replace(steps[i - 1], after_ms=0)
    return Scenario("found by the search", tuple(steps), start.actions, run_on_ms=RUN_ON_MS)


@dataclass(frozen=True, slots=True)
class Sense:
    """What a scenario waits for of the plant: an input point, or a number from ``edge`` on.

    ``edge`` is where a transmitter's number passes from one stretch to the next.
    """

    symbol: str
    edge: int | None = None

    def text(self, on: bool) -> str:
        """Return the condition that it is on, or off."""
        if self.edge is None:
            return self.symbol if on else f"NOT {self.symbol}"
        return f"{self.symbol} {'>=' if on else '<'} {self.edge}"

    def element(self, on: bool) -> Element:
        """Return the same as an element."""
        if self.edge is None:
            return Contact(ContactKind.OPEN if on else ContactKind.CLOSED, self.symbol)
        relation = Relation.GE if on else Relation.LT
        return Comparison(Name(self.symbol), relation, Number(self.edge))


def _steps(exercise: Exercise, suspicion: SuspectedViolation) -> Iterator[Step]:
    period = suspicion.machine.period_ms * suspicion.pace
    controls = _controls(suspicion)
    sensed = list(_senses(exercise, suspicion))
    before = dict.fromkeys(controls, False) | {"power": True}
    seen: dict[Sense, bool] = {}
    since, by_hand = 0, False
    names = {*controls, *(sense.symbol for sense in sensed)}
    hand = HAND in suspicion.assembled.signals
    names |= {HAND} if hand else set()
    for scan, signals in enumerate(simulate_trail(suspicion, names)):
        actions: list[Action] = [
            Turn(name, bool(signals[name])) for name in controls if signals[name] != before[name]
        ]
        before |= {name: bool(signals[name]) for name in controls}
        now = {sense: signals[sense.symbol] >= (sense.edge or 1) for sense in sensed}
        awaited = {sense: on for sense, on in now.items() if on != seen.get(sense)}
        seen |= awaited
        moved = tuple(hand_moves(exercise, awaited)) if by_hand else ()
        by_hand = hand and bool(signals[HAND])
        if moved:
            # The hand was there in the scan before.
            at = max(since, scan - 1)
            yield Step(moved, after_ms=(at - since) * period)
            since = at
        elif awaited and scan > 0:
            yield Step(when=_all_of(awaited), within_ms=PATIENCE_MS)
            since = scan
        if actions:
            yield Step(tuple(actions), after_ms=(scan - since) * period)
            since = scan


def hand_moves(exercise: Exercise, senses: Mapping[Sense, bool]) -> Iterator[Action]:
    """Yield what a hand does so that input points are as ``senses`` has them, where it can."""
    plant, settings = exercise.plant, dict[str, float]()
    for sense, on in senses.items():
        point = next(p for p in exercise.points if p.symbol == sense.symbol)
        actuated = on != (point.wiring is ContactKind.CLOSED)
        for eye in plant.eyes:
            if eye.tag == point.device and plant.line is not None:
                length = plant.line.item_length
                if actuated:
                    yield Put("", eye.at + length / 2, eye.marked_only)
                else:
                    yield Clear("", eye.at, eye.at + length)
        for part in plant.parts:
            if point.device in part.tags():
                for name, value in part.stand_in(actuated=actuated).items():
                    settings[name] = max(settings.get(name, value), value)
    yield from (Adjust(name, value) for name, value in settings.items())


def _senses(exercise: Exercise, suspicion: SuspectedViolation) -> Iterator[Sense]:
    for point in exercise.points:
        if point.direction is Direction.INPUT and not kind_of(point).by_hand:
            if point.type == "BOOL":
                yield Sense(point.symbol)
            for edge in suspicion.assembled.edges.get(point.symbol, ()):
                yield Sense(point.symbol, edge)


def _all_of(states: dict[Sense, bool]) -> Expression:
    """Return the condition that all are so.

    Of the edges that a number passes, only the furthest.
    """
    furthest: dict[tuple[str, bool], Sense] = {}
    for sense, on in sorted(states.items(), key=lambda s: (s[0].edge or 0) * (1 if s[1] else -1)):
        furthest[sense.symbol, on] = sense
    text = " AND ".join(sense.text(on) for (_, on), sense in furthest.items())
    return Expression(text, Series(tuple(s.element(on) for (_, on), s in furthest.items())))


def _controls(suspicion: SuspectedViolation) -> dict[str, int]:
    """Panel controls, faults and supply that the search was free to set, by name."""
    free = set(suspicion.machine.choices)
    return {
        name: signal.plane
        for name, signal in suspicion.assembled.signals.items()
        if isinstance(signal, Bit)
        and signal.plane in free
        and (name == "power" or name.startswith(("panel.", "fault.")))
    }


def simulate_trail(suspicion: SuspectedViolation, names: Iterable[str]) -> Iterator[dict[str, int]]:
    """Yield the named signals in each scan of the trail, on the abstract machine."""
    machine, assembled = suspicion.machine, suspicion.assembled
    bits = machine.initial.copy()
    for plane, on in assembled.starts[suspicion.trail.start].planes.items():
        bits[plane] = np.uint64(int(on))
    signals = planar((name, assembled.signals[name.lower()]) for name in names)
    for choices in suspicion.trail.choices:
        for i, plane in enumerate(machine.choices):
            bits[plane] = np.uint64((choices >> i) & 1)
        for section in paced(suspicion.pace):
            bounds = machine.sections[section]
            execute(machine.code, bounds.first, bounds.last, bits, machine.initial, machine.table)
        yield {
            name: int(value_of(signal, bits[planes_of(signal)] & np.uint64(1) == 1))
            for name, signal in signals.items()
        }
