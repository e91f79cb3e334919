"""A scenario as a timeline: what the hands do, and what a program makes of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.machine import Assembled, assemble
from server.marking.presentation.lane_drawing import draw_lanes
from server.marking.replay import Trace, trace
from server.marking.scenario import Scenario, faults_in
from server.marking.verdict import Lane
from server.scan.assembler import Bit, Quantity, Signal

LONGEST_MS = 120_000
"""What is drawn of a scenario at most."""


@dataclass(frozen=True, slots=True)
class ScenarioDrawing:
    """The drawing, how long a time it shows, and when each step comes; None if it never does."""

    svg: str
    to_ms: int
    moments: tuple[int | None, ...]


def draw_scenario(
    exercise: Exercise,
    scenario: Scenario,
    program: Program | None,
    first: Sequence[int] | None = None,
) -> ScenarioDrawing:
    """Return points that change, and quantities, over the scenario's time; steps are numbered.

    Without a program nothing is switched on by itself: the hands alone are shown. ``first`` says
    with which of the scenario's steps each numbered one begins; a tap is two.
    """
    run = program or Program("none")
    assembled = assemble(exercise, run, faults=faults_in([scenario]))
    names = [p.symbol for p in exercise.points]
    signals = {n: assembled.signals[n] for n in names if n in assembled.signals}
    signals |= {n: s for n, s in assembled.signals.items() if n.endswith(".level")}
    watched: dict[str, Signal] = {n: s for n, s in signals.items() if isinstance(s, Bit | Quantity)}
    waits: dict[str, Signal] = {
        f"when {step.when.text}": Bit(assembled.conditions[step.when.text])
        for step in scenario.steps
        if step.when is not None
    }
    period = exercise.period_ms
    traced = trace(assembled, scenario, watched | waits, LONGEST_MS // period)
    to_ms = traced.scans * period
    lanes = []
    for name, signal in watched.items():
        values = traced.signals[name]
        if isinstance(signal, Quantity):
            every = max(1, traced.scans // 120)
            at = np.arange(0, traced.scans, every)
        else:
            at = np.flatnonzero(np.diff(values, prepend=values[:1] - 1))
        if at.size > 1:
            shown = tuple(float(values[i]) for i in at)
            unit = signal.unit if isinstance(signal, Quantity) else ""
            lanes.append(Lane(name, tuple(int(i) * period for i in at), shown, unit))
    taken = _moments(scenario, traced, assembled)
    moments = tuple(taken[i] for i in (range(len(taken)) if first is None else first))
    marks = [(at, str(number)) for number, at in enumerate(moments, 1) if at is not None]
    title = f"Scenario {scenario.name}"
    return ScenarioDrawing(draw_lanes(lanes[:12], to_ms, title, marks=marks[:20]), to_ms, moments)


def _moments(scenario: Scenario, traced: Trace, assembled: Assembled) -> list[int | None]:
    """Return when each step is taken, in ms from the start."""
    period = assembled.machine.period_ms
    moments: list[int | None] = []
    now: int | None = 0
    for step in scenario.steps:
        if now is not None and step.when is not None:
            came = np.flatnonzero(traced.signals[f"when {step.when.text}"][max(0, now - 1) :])
            waited = int(came[0]) if came.size else None
            in_time = waited is not None and waited <= step.within_ms // period
            now = now + (waited or 0) if in_time else None
        elif now is not None:
            now += -(-step.after_ms // period)
            now = now if now <= traced.scans else None
        moments.append(None if now is None else now * period)
    return moments
