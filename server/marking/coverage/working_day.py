"""A working day of ordinary operation, made of what an exercise's scenarios do.

64 lanes of at least eight minutes are more than eight hours of plant time. Some lanes repeat one
scenario over and over, so that the 15th press and the 50th item come; some play scenarios in random
order with short and long pauses, a few of them also those with faults; in some the plant is held
where it began, or nothing is touched any more after a while. Everything follows from the exercise.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.ladder.program import Block, Comparison, Number, Program, walk
from server.marking.exercise import Exercise
from server.marking.machine import Assembled
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.plant.devices import kind_of
from server.scan.assembler import Bit
from server.scan.lanes import LANES

SHORTEST_MS, LONGEST_MS = 8 * 60_000, 65 * 60_000
"""Plant time of a lane: 64 of the shortest are a day of eight hours and a half."""

BEYOND_MS = 5 * 60_000
"""A lane goes on so long after all timers of the program could be over."""

COUNT_MS = 5_000
"""What is counted takes about so long, each."""

USUAL_WAIT_MS = 4_000
"""A wait for the plant takes about so long."""

REPEATING, HELD, LEFT_ALONE, FAULTY = 24, 16, 8, 6
"""Lanes that repeat one scenario, that hold the plant, that are left alone, that know faults.

The others mix scenarios without faults.
"""

HOLD_MS = 5_000
"""Where the plant is held, a hand sets it again so often."""

PAUSES_MS = ((0.6, 500, 3_000), (0.9, 5_000, 20_000), (1.0, 30_000, 180_000))
"""Shares, summed up, of pauses from so long to so long."""

MOST_STEPS = 600
"""Steps of one lane."""


def day_length_ms(program: Program, assembled: Assembled) -> int:
    """Return how long a lane runs: longer than all that the program can time and count."""
    timers = sum(t.elapsed.preset_ms for t in assembled.program.timers.values())
    counts = max(_counted(program), default=0) * COUNT_MS
    return min(LONGEST_MS, max(SHORTEST_MS, timers + BEYOND_MS, counts + BEYOND_MS))


def _counted(program: Program) -> Iterator[int]:
    """Yield the numbers up to which counters count, as far as the text says."""
    for rung in program.rungs:
        for _, element in walk(rung.network):
            match element:
                case Block(inputs=inputs):
                    for wired in inputs:
                        if wired.pin == "PV" and isinstance(wired.operand, Number):
                            yield wired.operand.value
                case Comparison(left, _, right) if any(
                    ".cv" in str(o).lower() for o in (left, right)
                ):
                    for operand in (left, right):
                        if isinstance(operand, Number):
                            yield operand.value
                case _:
                    pass


def working_day(exercise: Exercise, assembled: Assembled, length_ms: int) -> list[Scenario]:
    """Return one scenario for each lane; empty where an exercise has no scenario without faults."""
    plain = tuple(s for s in exercise.scenarios if not faults_in([s]))
    if not plain:
        return []
    digest = hashlib.sha256(exercise.suite_hash.encode()).digest()
    day = _Day(_Panel.of(exercise, assembled), length_ms)
    order = np.random.default_rng(list(digest)).permutation(len(plain))
    starts = {plain[number].start: plain[number] for number in order}.values()
    busiest = sorted(starts, key=lambda s: -_turned_on(s.start))
    lanes = []
    for lane in range(LANES):
        random = np.random.default_rng([*digest, lane])
        if lane < REPEATING:
            chunks = day.repeated(plain[order[lane % len(plain)]], lane >= len(plain), random)
        elif lane < REPEATING + HELD:
            chunks = day.held(busiest[lane % len(busiest)], random)
        elif lane < REPEATING + HELD + LEFT_ALONE:
            chunks = day.left_alone(plain[order[lane % len(plain)]], random)
        elif lane < REPEATING + HELD + LEFT_ALONE + FAULTY:
            chunks = day.mixed(exercise.scenarios, random)
        else:
            chunks = day.mixed(plain, random)
        lanes.append(day.lane(chunks))
    return lanes


@dataclass(frozen=True, slots=True)
class _Panel:
    """The controls of an exercise and its faults: their rest, and those that a hand lets go."""

    rest: dict[str, bool]
    momentary: frozenset[str]

    @classmethod
    def of(cls, exercise: Exercise, assembled: Assembled) -> "_Panel":
        rest = {
            name: bool(assembled.machine.initial[signal.plane])
            for name, signal in assembled.signals.items()
            if isinstance(signal, Bit) and name.startswith(("panel.", "fault."))
        }
        maintained = {f"panel.{p.symbol.lower()}" for p in exercise.points if kind_of(p).maintained}
        points = {f"panel.{p.symbol.lower()}" for p in exercise.points}
        return cls(rest, frozenset(rest.keys() & points - maintained))

    def let_go(self) -> tuple[Action, ...]:
        """Let go of every push-button and see to the supply."""
        buttons = (Turn(name, self.rest[name]) for name in sorted(self.momentary))
        return (Turn("power", True), *buttons)

    def prepared(self, start: tuple[Action, ...]) -> tuple[Action, ...]:
        """Bring all controls to rest, then do what a scenario begins with."""
        controls = (Turn(name, on) for name, on in self.rest.items())
        return (Turn("power", True), *controls, *start)


@dataclass(frozen=True, slots=True)
class _Day:
    """Makes the lanes of one day."""

    panel: _Panel
    length_ms: int

    def repeated(
        self, scenario: Scenario, only_steps: bool, random: np.random.Generator
    ) -> Iterator[Step]:
        """Yield one scenario repeatedly; with ``only_steps`` the plant stays as it comes."""
        begin = self.panel.prepared(scenario.start)
        while True:
            yield Step(begin, _pause(random, PAUSES_MS[:1]))
            yield from _patient(scenario.steps)
            yield Step((), scenario.run_on_ms)
            if only_steps:
                begin = self.panel.let_go()

    def mixed(self, scenarios: Sequence[Scenario], random: np.random.Generator) -> Iterator[Step]:
        """Yield scenarios in random order, with pauses; now and then the plant stays as it is."""
        while True:
            scenario = scenarios[int(random.integers(len(scenarios)))]
            fresh = random.random() < 0.7
            begin = self.panel.prepared(scenario.start) if fresh else self.panel.let_go()
            yield Step(begin, _pause(random, PAUSES_MS))
            yield from _patient(scenario.steps)

    def held(self, scenario: Scenario, random: np.random.Generator) -> Iterator[Step]:
        """Yield a scenario up to some step; then the plant is set again and again as it began."""
        yield Step(self.panel.prepared(scenario.start))
        yield from _patient(scenario.steps[: int(random.integers(len(scenario.steps) + 1))])
        begin = tuple(a for a in scenario.start if not isinstance(a, Turn))
        yield Step(self.panel.let_go(), 1_000)
        while True:
            yield Step(begin, HOLD_MS if begin else self.length_ms)

    def left_alone(self, scenario: Scenario, random: np.random.Generator) -> Iterator[Step]:
        """Yield a scenario up to some step.

        Then the plant is left alone for the rest of the day.
        """
        yield Step(self.panel.prepared(scenario.start))
        done = int(random.integers(len(scenario.steps) + 1))
        yield from _patient(scenario.steps[:done])
        yield Step(self.panel.let_go(), 1_000)
        yield Step((), self.length_ms)

    def lane(self, steps: Iterator[Step]) -> Scenario:
        """As many steps as fill the lane."""
        taken, lasted = [], 0
        for step in steps:
            taken.append(step)
            lasted += step.after_ms if step.when is None else min(step.within_ms, USUAL_WAIT_MS)
            if lasted >= self.length_ms or len(taken) >= MOST_STEPS:
                break
        return Scenario("a working day", tuple(taken), run_on_ms=self.length_ms)


def _turned_on(start: tuple[Action, ...]) -> int:
    """Return how many controls are on in a starting state."""
    return sum(isinstance(action, Turn) and action.on for action in start)


def _patient(steps: tuple[Step, ...]) -> Iterator[Step]:
    """Return the steps as somebody takes them who goes on where a wait takes too long."""
    return (step if step.when is None else replace(step, goes_on=True) for step in steps)


def _pause(random: np.random.Generator, shares: tuple[tuple[float, int, int], ...]) -> int:
    drawn = random.random() * shares[-1][0]
    least, most = next((a, b) for share, a, b in shares if drawn <= share)
    return int(random.integers(least, most + 1))
