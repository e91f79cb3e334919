"""What viewers see of a trial run: frames with only what changed since each one's last frame."""

import asyncio
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.ladder.drawing import draw_rungs
from server.ladder.program import Program
from server.ladder.text_form import print_rung, types_of
from server.marking.machine import Assembled
from server.marking.trial.live import Live
from server.marking.trial.trial import TrialRun
from server.marking.trial.trial_view import Lanes, Marker, View, lanes_of

CHART_SCANS = 12_000
"""How far the chart goes back: two minutes at 10 ms."""

SAMPLE_SCANS = 10
"""Scans from one sample of a quantity to the next on the chart."""

MOST_EVENTS = 3000
"""Changes kept for a viewer who is behind; who misses more gets the whole chart again."""

Json = dict[str, Any]
Values = NDArray[np.float64]


@dataclass(eq=False)
class Viewer:
    """One open page: what it has been shown so far. ``works`` tells the owner from who watches."""

    works: bool
    woken: asyncio.Event = field(default_factory=asyncio.Event)
    layout: object = None
    chart: object = None
    events: int = 0
    takeovers: object = None
    scan: int = -1
    values: Values | None = None
    state: Json | None = None
    answers: list[Json] = field(default_factory=list)

    def tell(self, answer: Json) -> None:
        """Send something of its own with the next frame."""
        self.answers.append(answer)
        self.woken.set()


@dataclass(frozen=True, eq=False)
class Layout:
    """One version's view and rungs; viewers get it once."""

    program: Program
    assembled: Assembled
    view: View
    lanes: Lanes


class Screen:
    """A run as it is shown: the present, or the past moment that its owner looks at."""

    def __init__(self, run: TrialRun) -> None:
        self._run = run
        self._looking: int | None = None
        self._past: Values | None = None
        self._events: list[Json] = []
        self._before = 0
        self._followed: tuple[str, ...] = ()
        self._present = self._layout(run.program, run.live.assembled)
        self._shown = self._present
        self._marker = Marker(self._present.lanes)
        self._takeovers = run.takeovers
        self.chart = object()

    @property
    def looking(self) -> int | None:
        """The past scan that is shown, None for the present."""
        return self._looking

    def step(self, scans: int) -> None:
        """Run scans and remember what changed in them."""
        first = self._run.scan
        changes, marks = self._marker.read(first, self._run.step(scans, self._present.lanes.planes))
        self._events += [{"c": change} for change in changes] + [{"m": mark} for mark in marks]
        surplus = len(self._events) - MOST_EVENTS
        if surplus > 0:
            del self._events[:surplus]
            self._before += surplus
        if self._run.program is not self._present.program:
            self.take_over()

    def take_over(self) -> None:
        """Show a run whose newest version is another one; its lanes are those of any version."""
        self._present = self._layout(self._run.program, self._run.live.assembled)
        self._marker.lanes = self._present.lanes
        self._takeovers = self._run.takeovers
        self.look(None)

    def refresh(self) -> None:
        """Show a run that has another past."""
        self._present = self._layout(self._run.program, self._run.live.assembled)
        self._marker = Marker(self._present.lanes)
        self._takeovers = self._run.takeovers
        self.chart = object()
        self._before += len(self._events)
        self._events.clear()
        self.look(None)

    def follow(self, signals: tuple[str, ...]) -> None:
        """Show signals of the program, by lower-case name, in the chart besides the points."""
        self._followed = signals
        self.refresh()

    def look(self, scan: int | None) -> None:
        """Show a past moment, or the present again."""
        if scan is None or scan >= self._run.scan:
            self._looking, self._past, self._shown = None, None, self._present
            return
        live, program = self._run.at(scan)
        if program is self._present.program:
            self._shown = self._present
        elif program is not self._shown.program:
            self._shown = self._layout(program, live.assembled)
        self._looking, self._past = scan, _values(self._shown.view, live)

    def wake(self, viewers: Iterable[Viewer]) -> None:
        for viewer in viewers:
            viewer.woken.set()

    # -- frames ---------------------------------------------------------------------------------

    def is_long(self, viewer: Viewer) -> bool:
        """Return whether the next frame has the rungs or the whole chart, which takes long."""
        return viewer.layout is not self._shown or self._wants_chart(viewer)

    def _wants_chart(self, viewer: Viewer) -> bool:
        return viewer.chart is not self.chart or viewer.events < self._before

    def frame(self, viewer: Viewer, state: Json) -> str | None:
        """Return what is new for a viewer as JSON text; None when nothing is."""
        frame: Json = {}
        if viewer.layout is not self._shown:
            viewer.layout = self._shown
            viewer.values = None
            frame["layout"] = self._layout_json(viewer.works)
        if self._wants_chart(viewer):
            viewer.chart = self.chart
            frame["chart"] = self._chart_json()
            viewer.events = self._before + len(self._events)
        news = self._events[viewer.events - self._before :]
        viewer.events += len(news)
        if news:
            frame["changes"] = [event["c"] for event in news if "c" in event]
            frame["marks"] = [event["m"] for event in news if "m" in event]
        if viewer.takeovers is not self._takeovers:
            viewer.takeovers = frame["takeovers"] = self._takeovers
        values = _values(self._present.view, self._run.live) if self._past is None else self._past
        changed = (
            np.arange(values.size)
            if viewer.values is None
            else np.flatnonzero(values != viewer.values)
        )
        if changed.size:
            shown = values[changed].tolist()
            frame["values"] = [
                [i, None if v == -np.inf else int(v) if v.is_integer() else v]
                for i, v in zip(changed.tolist(), shown, strict=True)
            ]
            viewer.values = values
        if state != viewer.state:
            viewer.state = frame["state"] = state
        if viewer.answers:
            frame["answers"], viewer.answers = viewer.answers, []
        if not frame and viewer.scan == self._run.scan:
            return None
        frame["scan"] = viewer.scan = self._run.scan
        return json.dumps(frame, separators=(",", ":"))

    def _layout(self, program: Program, assembled: Assembled) -> Layout:
        exercise = self._run.exercise
        view = View(exercise, program, assembled)
        lanes = lanes_of(exercise, assembled, view.checks, self._followed)
        return Layout(program, assembled, view, lanes)

    def _layout_json(self, works: bool) -> Json:
        """Return what a page shows of a version.

        Its owner's page has the rungs already and only learns which of them run, by their text.
        """
        view, lanes, program = self._shown.view, self._shown.lanes, self._shown.program
        return {
            "keys": view.keys,
            "bools": view.bools,
            "units": view.units,
            "points": lanes.points,
            "quantities": lanes.quantities,
            "checks": [check.requirement for check in view.checks],
            "texts": [print_rung(rung, types_of(program)) for rung in program.rungs],
            "rungs": None if works else draw_rungs(program, margin=False),
            "symbols": {v.address: v.symbol for v in program.variables if v.address},
        }

    def _chart_json(self) -> Json:
        """Return the last two minutes from the record, exact to the scan."""
        end = self._run.scan
        scan = start = max(0, end - CHART_SCANS)
        changes: list[tuple[int, int, int]] = []
        marks: list[tuple[int, int, str]] = []
        samples: list[list[float]] = []
        while scan < end:
            live, program = self._run.at(scan)
            _, last = self._run.version_bounds(scan)
            layout = self._present
            if program is not layout.program:
                layout = self._layout(program, live.assembled)
            lanes = layout.lanes
            record = self._run.record(scan, last, lanes.planes, lanes.rows)
            bits = (record.bits & np.uint64(1)).astype(np.bool_)
            marker = Marker(lanes)
            found = marker.read(scan, bits)
            changes += found[0]
            marks += found[1]
            samples += [
                [scan + i, *np.round(record.values[i], 4).tolist()]
                for i in range(0, last - scan, SAMPLE_SCANS)
            ]
            if layout is self._present:
                self._marker = marker
            scan = last
        return {"first": start, "changes": changes, "marks": marks, "samples": samples}


def _values(view: View, live: Live) -> Values:
    return view.values(live.memory) if live.scan else view.first_values(live)
