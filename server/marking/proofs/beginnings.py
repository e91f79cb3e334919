"""Where random runs begin, and what a hand may do in them."""

from dataclasses import dataclass

import numpy as np

from server.marking.exercise import Exercise
from server.marking.machine import Assembled
from server.marking.proofs.random_timeline import DrawnBlock, PanelControls
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.marking.timeline import timeline_of
from server.plant.devices import kind_of
from server.plant.loop import Timeline
from server.scan.assembler import Bit
from server.scan.lanes import LANES

FAULTS = "fault."

CONTROL_WEIGHT, SUPPLY_WEIGHT = 4, 1
"""The supply goes off less often than a control is worked."""


@dataclass(frozen=True, slots=True)
class Beginnings:
    """Where random runs may begin, and what may be done in them."""

    starts: tuple[tuple[Action, ...], ...]
    hands: tuple[tuple[Action, ...], ...]
    timeline: Timeline
    panel: PanelControls
    names: dict[int, str]
    period_ms: int

    @classmethod
    def of(
        cls, exercise: Exercise, assembled: Assembled, disturbances: str = FAULTS
    ) -> "Beginnings":
        """Return those of an exercise; one of the ``disturbances`` (a prefix) comes in a run."""
        plain = [s.start for s in exercise.scenarios if not _has_fault(s.start)]
        starts = tuple(dict.fromkeys(plain))[:LANES] or ((),)
        hands = _hands(exercise)
        names = {
            signal.plane: name
            for name, signal in assembled.signals.items()
            if isinstance(signal, Bit)
            and (name == "power" or name.startswith(("panel.", disturbances)))
        }
        panel = _panel(exercise, names, disturbances, _each(hands, assembled))
        return cls(starts, hands, _each(starts, assembled), panel, names, exercise.period_ms)

    def scenario(self, drawn: DrawnBlock, lane: int) -> Scenario:
        """Return one random lane as a scenario."""
        timeline = drawn.timeline
        steps = []
        begun = 1 if self.starts[drawn.start[lane]] else 0
        for row in timeline.steps[timeline.first[lane] + begun : timeline.last[lane]]:
            done = range(int(row[3]), int(row[4]))
            turned = (
                Turn(self.names[int(timeline.actions[i, 1])], bool(timeline.values[i, 0]))
                for i in done
            )
            actions = self.hands[int(row[2]) - 1] if row[2] else tuple(turned)
            steps.append(Step(actions, int(row[1]) * self.period_ms))
        run_on = int(timeline.run_on[lane]) * self.period_ms
        start = self.starts[drawn.start[lane]]
        return Scenario("a random run", tuple(steps), start, run_on_ms=run_on)


def _hands(exercise: Exercise) -> tuple[tuple[Action, ...], ...]:
    """Return what a hand does in the plant in the scenarios without faults, by the step."""
    plain = [s for s in exercise.scenarios if not faults_in([s])]
    done = [actions for s in plain for actions in (s.start, *(step.actions for step in s.steps))]
    hands = (tuple(a for a in actions if not isinstance(a, Turn)) for actions in done)
    return tuple(dict.fromkeys(each for each in hands if each))[:LANES]


def _each(actions: tuple[tuple[Action, ...], ...], assembled: Assembled) -> Timeline:
    """Return a timeline with each of the actions as the one step of a lane."""
    whole = timeline_of([Scenario("", (), each) for each in actions], assembled)
    return whole._replace(first=whole.first[: len(actions)], last=whole.last[: len(actions)])


def _panel(
    exercise: Exercise, names: dict[int, str], disturbances: str, hands: Timeline
) -> PanelControls:
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
    planes = sorted(plane for plane, name in names.items() if name.startswith(disturbances))
    return PanelControls(
        table[:, :4].copy(),
        table[:, 4].copy(),
        np.array(planes, np.int64),
        int(disturbances == FAULTS),
        hands,
    )


def _has_fault(actions: tuple[Action, ...]) -> bool:
    return any(isinstance(a, Turn) and a.control.startswith(FAULTS) for a in actions)
