"""The stress run: thousands of random minutes at the panel, beside the written scenarios.

Each lane begins as one of the exercise's scenarios begins and then plays random operator actions
for a minute of plant time; some blocks also let a fault come that the exercise's scenarios know.
Everything follows from the seed, so a violation can be found again, and shrunk.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.proofs.random_timeline import DrawnBlock, PanelControls, draw_block
from server.marking.replay import NEVER, replay_block
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.marking.timeline import timeline_of
from server.plant.devices import kind_of
from server.plant.loop import Timeline
from server.scan.assembler import Bit
from server.scan.lanes import LANES

RUNS = 2048
"""Random runs of one stress run, each LENGTH_MS of plant time."""

LENGTH_MS = 60_000

FAULTY_BLOCKS = 4
"""Every so many-th block of 64 lanes has faults, if the exercise knows any."""

CONTROL_WEIGHT, SUPPLY_WEIGHT = 4, 1
"""The supply goes off less often than a control is worked."""


@dataclass(frozen=True, slots=True)
class Violation:
    """A random run in which a monitor was violated, shrunk to what it takes."""

    monitor: int
    scenario: Scenario
    scan: int


def stress_run(
    exercise: Exercise, program: Program, wanted: frozenset[int], seed: int, *, runs: int = RUNS
) -> dict[int, Violation]:
    """Look for violations of the requirements ``wanted``; the first of each, shrunk.

    ``seed`` is a whole number of at most 64 bits.
    """
    assembled = assemble(exercise, program, faults=faults_in(exercise.scenarios))
    begin = _Beginnings.of(exercise, assembled)
    found: dict[int, Violation] = {}
    for block in range(-(-runs // LANES)):
        faulty = block % FAULTY_BLOCKS == FAULTY_BLOCKS - 1
        panel = begin.panel if faulty else begin.panel._replace(faults=np.zeros(0, np.int64))
        drawn = draw_block(
            seed, block, panel, begin.timeline, assembled.machine.period_ms, LENGTH_MS
        )
        violated = replay_block(assembled, drawn.timeline)[0]
        for number in sorted(wanted - found.keys()):
            hit = _first(exercise, assembled, number, violated, begin, drawn)
            if hit is not None:
                found[number] = _shrink(assembled, *hit)
    return found


@dataclass(frozen=True, slots=True)
class _Beginnings:
    """Where random runs may begin, and what may be done in them."""

    starts: tuple[tuple[Action, ...], ...]
    timeline: Timeline
    panel: PanelControls
    names: dict[int, str]
    period_ms: int

    @classmethod
    def of(cls, exercise: Exercise, assembled: Assembled) -> "_Beginnings":
        plain = [s.start for s in exercise.scenarios if not _has_fault(s.start)]
        starts = tuple(dict.fromkeys(plain))[:LANES] or ((),)
        begun = timeline_of([Scenario("", (), start) for start in starts], assembled)
        used = begun._replace(first=begun.first[: len(starts)], last=begun.last[: len(starts)])
        names = {
            signal.plane: name
            for name, signal in assembled.signals.items()
            if isinstance(signal, Bit)
            and (name == "power" or name.startswith(("panel.", "fault.")))
        }
        return cls(starts, used, _panel(exercise, names), names, assembled.machine.period_ms)

    def scenario(self, drawn: DrawnBlock, lane: int) -> Scenario:
        """One random lane as a scenario."""
        timeline = drawn.timeline
        steps = []
        begun = 1 if self.starts[drawn.start[lane]] else 0
        for row in timeline.steps[timeline.first[lane] + begun : timeline.last[lane]]:
            done = range(int(row[3]), int(row[4]))
            actions = tuple(
                Turn(self.names[int(timeline.actions[i, 1])], timeline.values[i, 0] != 0)
                for i in done
            )
            steps.append(Step(actions, int(row[1]) * self.period_ms))
        run_on = int(timeline.run_on[lane]) * self.period_ms
        start = self.starts[drawn.start[lane]]
        return Scenario("a random run", tuple(steps), start, run_on_ms=run_on)


def _panel(exercise: Exercise, names: dict[int, str]) -> PanelControls:
    points = {f"panel.{p.symbol}": p for p in exercise.points}
    switches = sorted({p.device for p in points.values() if p.description == "selector switch"})
    controls = []
    for plane, name in sorted(names.items(), key=lambda item: item[1]):
        if name == "power":
            controls.append((plane, 0, -1, 1, SUPPLY_WEIGHT))
        elif name in points:
            point = points[name]
            switch = switches.index(point.device) if point.device in switches else -1
            stays = int(kind_of(point).maintained)
            controls.append((plane, stays, switch, 0, CONTROL_WEIGHT))
        elif name.startswith("panel."):
            controls.append((plane, 1, -1, 0, CONTROL_WEIGHT))
    table = np.array(controls, np.int64).reshape(-1, 5)
    faults = sorted(plane for plane, name in names.items() if name.startswith("fault."))
    return PanelControls(table[:, :4].copy(), table[:, 4].copy(), np.array(faults, np.int64))


def _has_fault(actions: tuple[Action, ...]) -> bool:
    return any(isinstance(a, Turn) and a.control.startswith("fault.") for a in actions)


def _first(
    exercise: Exercise,
    assembled: Assembled,
    number: int,
    violated: NDArray[np.int64],
    begin: _Beginnings,
    drawn: DrawnBlock,
) -> tuple[int, Scenario] | None:
    """The first lane that violates a check of a requirement, where it is judged."""
    allowed = faults_in(exercise.scenarios_judging(number))
    for (requirement, index), monitor in assembled.monitor_numbers.items():
        if requirement != number or exercise.requirements[number].checks[index].scenarios:
            continue
        for lane in np.flatnonzero(violated[monitor] != NEVER):
            scenario = begin.scenario(drawn, int(lane))
            if faults_in([scenario]) <= allowed:
                return monitor, scenario
    return None


def _shrink(assembled: Assembled, monitor: int, scenario: Scenario) -> Violation:
    """Leave out steps, one by one, as long as the monitor is still violated."""
    scan = _violations(assembled, monitor, [scenario])[0]
    shorter = True
    while shorter:
        tries = [
            replace(scenario, steps=_without(scenario.steps, i)) for i in range(len(scenario.steps))
        ]
        seen = _violations(assembled, monitor, tries)
        broken = [i for i, first in enumerate(seen) if first != NEVER]
        shorter = bool(broken)
        if shorter:
            scenario, scan = tries[broken[-1]], seen[broken[-1]]
    return Violation(monitor, scenario, scan)


def _violations(assembled: Assembled, monitor: int, scenarios: list[Scenario]) -> list[int]:
    if not scenarios:
        return []
    violated = replay_block(assembled, timeline_of(scenarios, assembled))[0]
    return [int(first) for first in violated[monitor][: len(scenarios)]]


def _without(steps: tuple[Step, ...], number: int) -> tuple[Step, ...]:
    """The steps without one; the next one is then waited for as long as both were."""
    kept = list(steps)
    gone = kept.pop(number)
    if number < len(kept) and kept[number].when is None:
        later = kept[number]
        kept[number] = replace(later, after_ms=later.after_ms + gone.after_ms)
    return tuple(kept)
