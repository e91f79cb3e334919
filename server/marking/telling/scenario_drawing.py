"""A scenario as a timeline: what the hands do, and what a program makes of it."""

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.machine import assemble
from server.marking.replay import trace
from server.marking.scenario import Scenario, faults_in
from server.marking.telling.lane_drawing import draw_lanes
from server.marking.verdict import Lane
from server.scan.assembler import Bit, Quantity, Signal

LONGEST_MS = 120_000
"""What is drawn of a scenario at most."""


def draw_scenario(exercise: Exercise, scenario: Scenario, program: Program | None) -> str:
    """Points that change, and quantities, over the scenario's time; steps are numbered.

    Without a program nothing is switched on by itself: the hands alone are shown.
    """
    run = program or Program("none")
    assembled = assemble(exercise, run, faults=faults_in([scenario]))
    names = [p.symbol for p in exercise.points]
    signals = {n: assembled.signals[n] for n in names if n in assembled.signals}
    signals |= {n: s for n, s in assembled.signals.items() if n.endswith(".level")}
    watched: dict[str, Signal] = {n: s for n, s in signals.items() if isinstance(s, Bit | Quantity)}
    period = exercise.period_ms
    traced = trace(assembled, scenario, watched, LONGEST_MS // period)
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
    return draw_lanes(lanes[:12], to_ms, f"Scenario {scenario.name}", marks=_marks(scenario, to_ms))


def _marks(scenario: Scenario, to_ms: int) -> list[tuple[int, str]]:
    """Steps that come at a time of their own; one that waits for a condition ends the list."""
    marks, now = [], 0
    for number, step in enumerate(scenario.steps):
        if step.when is not None:
            break
        now += step.after_ms
        marks.append((now, str(number + 1)))
    return [mark for mark in marks if mark[0] <= to_ms][:20]
