"""Behavior coverage: where an output may misbehave without any check that notices.

The right programs run with a saboteur in the machine, one in each lane, in the written scenarios
and in random minutes, beside all right programs as shadows. Where an output has differed from that
of every shadow for longer than the tolerance, outside of what is free, and no check of any
requirement noticed by the end of the run, that output is *undemanded* there.

Everything follows from the exercise, so that the same text has the same findings.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.ladder.points import Direction
from server.ladder.program import Program
from server.marking.checks.lasts import Lasts
from server.marking.coverage.saboteurs import PREFIX as SABOTEUR
from server.marking.coverage.saboteurs import describe_saboteur
from server.marking.evidence import look_at
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.phrases import seconds
from server.marking.presentation.scenario_words import steps_in_words
from server.marking.proofs.beginnings import Beginnings
from server.marking.proofs.random_timeline import draw_block
from server.marking.proofs.shrinking import shrink
from server.marking.replay import NEVER, replay, replay_block, trace
from server.marking.scenario import Action, Scenario, Step, Turn, faults_in
from server.marking.shadows import PREFIX as UNLIKE
from server.marking.shadows import with_second_look
from server.marking.verdict import Evidence
from server.scan.assembler import Bit
from server.scan.lanes import LANES

LENGTH_MS = 60_000
RUN_ON_MS = 10_000
"""A written scenario goes on so long, so that checks have the time to notice."""

BLOCKS = 96
"""Blocks of 64 lanes for each right program: half written scenarios, half random minutes."""

STORIES = 3
"""So many stories are told of one output that is on, and as many of one that is off."""

TRIES = 10
"""So many lanes of one output are shrunk at most: many of them come to the same story."""


@dataclass(frozen=True, slots=True)
class Undemanded:
    """An output that misbehaved while no check noticed.

    ``saboteur`` says what was wrong, ``sentence`` what the output did, ``steps`` tell the run;
    ``at_ms`` is when the deviation began. ``run`` is the run of ``reference`` with the saboteur,
    ``scenario`` the same without. ``situation`` are the input points at that moment.
    """

    output: str
    on: bool
    saboteur: str
    sentence: str
    at_ms: int
    steps: tuple[str, ...]
    reference: Program
    run: Scenario
    scenario: Scenario
    situation: tuple[tuple[str, bool], ...]
    evidence: Evidence


def find_undemanded(exercise: Exercise, *, blocks: int = BLOCKS) -> Iterator[list[Undemanded]]:
    """Try each reference with saboteurs; yield all that is known after each of them."""
    found: list[Undemanded] = []
    for number, reference in enumerate(exercise.references):
        workshop = _Workshop.of(exercise, reference)
        for candidates in workshop.candidates(seed=number, blocks=blocks):
            found = [*found, *workshop.stories(candidates, found)]
        yield found


def find_all_undemanded(exercise: Exercise) -> list[Undemanded]:
    """Return what is undemanded after all references have been tried."""
    looks = deque(find_undemanded(exercise), maxlen=1)
    return looks[0] if looks else []


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A run in which one output's monitor of the second look was violated, and no check."""

    monitor: int
    scan: int
    scenario: Scenario


@dataclass(frozen=True)
class _Workshop:
    """One right program with all its saboteurs, beside every reference."""

    exercise: Exercise
    reference: Program
    assembled: Assembled
    begin: Beginnings

    @classmethod
    def of(cls, exercise: Exercise, reference: Program) -> "_Workshop":
        widened = with_second_look(exercise)
        assembled = assemble(widened, reference, faults=(), blink_ms=2 * exercise.tolerance_ms)
        return cls(widened, reference, assembled, Beginnings.of(exercise, assembled, SABOTEUR))

    @cached_property
    def saboteurs(self) -> tuple[str, ...]:
        return tuple(sorted(n for n in self.begin.names.values() if n.startswith(SABOTEUR)))

    @cached_property
    def outputs(self) -> dict[int, str]:
        """The output that each monitor of the second look compares."""
        last = len(self.exercise.requirements) - 1
        return {
            monitor: check.condition.text.removeprefix(UNLIKE)
            for (number, index), monitor in self.assembled.monitor_numbers.items()
            if number == last
            and isinstance(check := self.exercise.requirements[number].checks[index], Lasts)
        }

    @cached_property
    def noticing(self) -> list[int]:
        """The monitors that judge in every run."""
        return [
            monitor
            for (number, index), monitor in self.assembled.monitor_numbers.items()
            if monitor not in self.outputs
            and not self.exercise.requirements[number].checks[index].scenarios
        ]

    @cached_property
    def margin(self) -> int:
        """Scans that the checks have to notice a deviation before the run ends."""
        longest = max((self.assembled.checks[m].allowed_ms or 0 for m in self.noticing), default=0)
        return (min(longest, RUN_ON_MS) + 1000) // self.exercise.period_ms

    # -- runs -------------------------------------------------------------------------------------

    def candidates(self, *, seed: int, blocks: int) -> Iterator[list[_Candidate]]:
        """Yield runs with an unnoticed deviation, block by block."""
        random = np.random.default_rng(seed)
        for block in range(blocks):
            if block % 2:
                yield self._random_block(seed, block)
            else:
                yield self._written_block(random)

    def _random_block(self, seed: int, block: int) -> list[_Candidate]:
        begin, period = self.begin, self.exercise.period_ms
        drawn = draw_block(seed, block, begin.panel, begin.timeline, period, LENGTH_MS)
        violated, _, _, ended = replay_block(self.assembled, drawn.timeline)
        return [
            _Candidate(monitor, scan, begin.scenario(drawn, lane))
            for monitor, lane, scan in self._unnoticed(violated, ended)
        ]

    def _written_block(self, random: np.random.Generator) -> list[_Candidate]:
        plain = [s for s in self.exercise.scenarios if not faults_in([s])]
        if not (plain and self.saboteurs):
            return []
        scenarios = [
            _with_saboteur(
                plain[random.integers(len(plain))],
                self.saboteurs[random.integers(len(self.saboteurs))],
                random,
            )
            for _ in range(LANES)
        ]
        return self._shown(scenarios)

    def _shown(self, scenarios: Sequence[Scenario]) -> list[_Candidate]:
        seen = replay(self.assembled, scenarios)
        return [
            _Candidate(monitor, scan, scenarios[lane])
            for monitor, lane, scan in self._unnoticed(seen.violated, seen.scans)
        ]

    def _unnoticed(
        self, violated: NDArray[np.int64], ended: NDArray[np.int64]
    ) -> Iterator[tuple[int, int, int]]:
        """Yield monitor, lane and scan of each deviation in a lane where no check noticed any."""
        quiet = (violated[self.noticing] == NEVER).all(axis=0)
        for monitor in self.outputs:
            for lane in np.flatnonzero(quiet & (violated[monitor] + self.margin <= ended)):
                yield monitor, int(lane), int(violated[monitor, lane])

    # -- stories ----------------------------------------------------------------------------------

    def stories(
        self, candidates: list[_Candidate], known: Sequence[Undemanded]
    ) -> list[Undemanded]:
        """Return the candidates as short stories that are not known."""
        told: list[Undemanded] = []
        tries = dict.fromkeys(self.outputs, TRIES)
        for each in sorted(candidates, key=lambda c: c.scan):
            output = self.outputs[each.monitor]
            if not tries[each.monitor] or self._is_full(output, [*known, *told]):
                continue
            tries[each.monitor] -= 1
            story = self._story(each)
            if not any(_alike(story, other) for other in (*known, *told)):
                same = [o for o in (*known, *told) if (o.output, o.on) == (story.output, story.on)]
                if len(same) < STORIES:
                    told.append(story)
        return told

    def _is_full(self, output: str, known: list[Undemanded]) -> bool:
        return all(
            sum((o.output, o.on) == (output, on) for o in known) >= STORIES for on in (False, True)
        )

    def _story(self, each: _Candidate) -> Undemanded:
        def shows(scenarios: Sequence[Scenario]) -> list[bool]:
            found = {id(c.scenario) for c in self._shown(scenarios) if c.monitor == each.monitor}
            return [id(scenario) in found for scenario in scenarios]

        scenario = shrink(each.scenario, shows)
        scan = next(c.scan for c in self._shown([scenario]) if c.monitor == each.monitor)
        output = self.outputs[each.monitor]
        began = max(0, scan - -(-self.exercise.tolerance_ms // self.exercise.period_ms))
        names = [
            output,
            *(p.symbol for p in self.exercise.points if p.direction is Direction.INPUT),
        ]
        signals = {n: self.assembled.signals[n.lower()] for n in names}
        traced = trace(self.assembled, scenario, signals, scan + 1)
        at = {n: bool(traced.signals[n][began]) for n, s in signals.items() if isinstance(s, Bit)}
        on = bool(traced.signals[output][scan])
        at_ms = began * self.exercise.period_ms
        evidence, _ = look_at(self.exercise, self.assembled, each.monitor, scenario, scan)
        saboteur, plain = _without_saboteur(scenario)
        now, then = ("on", "off") if on else ("off", "on")
        return Undemanded(
            output=output,
            on=on,
            saboteur=describe_saboteur(saboteur),
            sentence=(
                f"{output} is {now} from {seconds(at_ms)} on, where every right program has it "
                f"{then}; no check notices."
            ),
            at_ms=at_ms,
            steps=steps_in_words(scenario),
            reference=self.reference,
            run=scenario,
            scenario=plain,
            situation=tuple((n, v) for n, v in at.items() if n != output),
            evidence=replace(
                evidence,
                at_ms=at_ms,
                lanes=tuple(x for x in evidence.lanes if not x.name.startswith(UNLIKE)),
            ),
        )


def _alike(one: Undemanded, other: Undemanded) -> bool:
    """Return whether two stories tell of the same output in the same situation."""
    return (one.output, one.on, one.situation) == (other.output, other.on, other.situation)


def _with_saboteur(scenario: Scenario, saboteur: str, random: np.random.Generator) -> Scenario:
    """Return the scenario with a saboteur that begins somewhere in it."""
    steps = list(scenario.steps)
    place = int(random.integers(len(steps) + 1))
    act: tuple[Action, ...] = (Turn(saboteur, True),)
    run_on_ms = scenario.run_on_ms + RUN_ON_MS
    if place < len(steps) and random.integers(2):
        steps[place] = replace(steps[place], actions=(*steps[place].actions, *act))
    else:
        room_ms = steps[place].after_ms if place < len(steps) else scenario.run_on_ms
        wait_ms = int(random.integers(room_ms + 1)) // 10 * 10
        if place < len(steps) and steps[place].when is None:
            steps[place] = replace(steps[place], after_ms=room_ms - wait_ms)
        steps.insert(place, Step(act, wait_ms))
    return replace(scenario, steps=tuple(steps), run_on_ms=run_on_ms)


def _without_saboteur(scenario: Scenario) -> tuple[str, Scenario]:
    """Return the saboteur of a run, and the run without it."""
    saboteur, steps, waited = "", list[Step](), 0
    for step in scenario.steps:
        kept = tuple(
            a for a in step.actions if not (isinstance(a, Turn) and a.control.startswith(SABOTEUR))
        )
        for action in step.actions:
            if isinstance(action, Turn) and action.control.startswith(SABOTEUR):
                saboteur = action.control
        if kept or step.when is not None:
            after_ms = step.after_ms + (waited if step.when is None else 0)
            steps.append(replace(step, actions=kept, after_ms=after_ms))
            waited = 0
        else:
            waited += step.after_ms
    run_on_ms = scenario.run_on_ms + waited
    return saboteur, replace(scenario, steps=tuple(steps), run_on_ms=run_on_ms)
