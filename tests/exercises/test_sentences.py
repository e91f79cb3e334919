"""What a verdict says of a run is true of it: each claim is read and checked against the trace."""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from server.marking.acceptance import acceptance_run
from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import list_exercises, load_exercise
from server.marking.files.reference_programs import load_programs
from server.marking.machine import Assembled, assemble
from server.marking.replay import trace
from server.marking.scenario import faults_in
from server.marking.verdict import RequirementVerdict, Status
from server.paths import EXERCISES
from server.plant.controls import HandSwitch
from server.plant.devices import KINDS
from server.scan.assembler import Bit, Signal

TIME = r"(\d+\.\d\d) s"
ALLOWED, BOUND = rf"{TIME} is allowed\.", rf"at (?:most|least) {TIME} is \w+\."
ON = {kind.states[0] for kind in KINDS.values()} | {kind.changes[0] for kind in KINDS.values()}
HANDLED_ON = {kind.handled[0] for kind in KINDS.values()}
Signals = dict[str, NDArray[np.float64]]


class Reader:
    """Reads the sentences of one program's verdict and checks their claims against its traces."""

    def __init__(self, exercise: Exercise, assembled: Assembled) -> None:
        self.exercise, self.assembled = exercise, assembled
        self.signals: Signals = {}
        self.claims: list[tuple[str, Callable[..., bool]]] = [
            (rf"At {TIME} it happened(?:; |\.)", lambda at: True),
            (rf"At {TIME} it was no longer so again\.", lambda at: True),
            (rf"At {TIME} (\S+) (.+?) again\.", self._changed_at),
            (rf"At {TIME} (.+?)(?:; |\.)", self._was),
            (rf'"([^"]+)" was last true at {TIME}\.', lambda what, at: True),
            (r'in this run "([^"]+)" had not been true before\.', self._never),
            (rf"It lasted {TIME} (?:by|until) {TIME}; {BOUND}", _duration),
            (rf"Due at {TIME}: it was still not so {TIME} later; {ALLOWED}", _later),
            (rf"Due at {TIME}: it became so after {TIME}; {ALLOWED}", _later),
            (rf"Due at {TIME}: (.+?) was still (\S+) {TIME} later; {ALLOWED}", self._still),
            (rf"Due at {TIME}: (\S+) (.+?) after {TIME}; {ALLOWED}", self._late),
            (rf"(\S+) was (\S+) for {TIME} (?:by|until) {TIME}; {BOUND}",
             lambda name, state, lasted, at, bound: self._is(name, state, at)),
            (rf"(\S+) (?:was (on|off)|showed (-?\d+)) from (?:{TIME}|the start) "
             rf"to {TIME}( or longer)?\.", self._stretch),
            (r"Before that, no control was worked\.", self._nothing_done),
            (r"Before that: (.+)\.", self._done),
        ]  # fmt: skip

    def check(self, told: RequirementVerdict) -> list[str]:
        """Return what is not true, or not understood, of a sentence."""
        assert told.evidence is not None
        [scenario] = [s for s in self.exercise.scenarios if s.name == told.evidence.scenario]
        controls: dict[str, Signal] = {
            name: signal
            for name, signal in self.assembled.signals.items()
            if isinstance(signal, Bit)
            and (name == "power" or name.startswith(("panel.", "fault.")))
        }
        points = {p.symbol.lower(): self.assembled.signals[p.symbol.lower()]
                  for p in self.exercise.points}  # fmt: skip
        actuators = {f"{name}.on": self.assembled.signals[f"{name}.on"]
                     for name in points if f"{name}.on" in self.assembled.signals}  # fmt: skip
        scans = told.evidence.to_ms // self.exercise.period_ms + 1
        traced = trace(self.assembled, scenario, points | controls | actuators, scans)
        self.signals, self.at = traced.signals, told.evidence.at_ms
        requirement = next(r for r in self.exercise.requirements if r.id == told.id)
        heads = [c.fails for c in requirement.checks if isinstance(c, Pattern)]
        rest = told.sentence.removeprefix(f"{told.id} not met: ")
        head = next(h for h in heads if rest.startswith(h))
        wrong = [f"not of this run: {head}"] if re.search(r"\b(or|nobody|somebody)\b", head) else []
        for label in re.findall(r"when (\w[\w ]*?) was pressed", head):
            wrong += [] if self._pressed(label) else [f"{label} was not pressed"]
        rest = rest.removeprefix(head).strip()
        while rest:
            for pattern, holds in self.claims:
                found = re.match(pattern, rest)
                if found:
                    if not holds(*found.groups()):
                        wrong.append(found[0])
                    rest = rest[found.end() :].strip()
                    break
            else:
                return [*wrong, f"not understood: {rest}"]
        return wrong

    def _scan(self, seconds: str) -> int:
        return round(float(seconds) * 1000) // self.exercise.period_ms

    def _values(self, name: str) -> NDArray[np.bool_]:
        return self.signals[name] > 0

    def _is(self, name: str, state: str, at: str) -> bool:
        """Whether a point, or its actuator, was so."""
        asked = state in ON
        scan = self._scan(at)
        return any(
            bool(self._values(each)[scan]) is asked
            for each in (name, f"{name}.on") if each in self.signals
        )  # fmt: skip

    def _was(self, at: str, states: str) -> bool:
        parts = [part.split(" was ") for part in states.split(" and ")]
        return all(self._is(name, state, at) for name, state in parts)

    def _never(self, condition: str) -> bool:
        return not self._values(condition)[: self.at // self.exercise.period_ms].any()

    def _still(self, due: str, names: str, state: str, later: str, allowed: str) -> bool:
        until = f"{float(due) + float(later):.2f}"
        return (
            float(later) >= float(allowed)
            and self._is(names, state, due)
            and self._is(names, state, until)
        )

    def _late(self, due: str, name: str, change: str, after: str, allowed: str) -> bool:
        came = f"{float(due) + float(after):.2f}"
        return float(after) > float(allowed) and self._changed(name, change, came)

    def _changed(self, name: str, change: str, at: str) -> bool:
        scan, on = self._scan(at), change in ON
        return any(
            self._values(each)[scan - 1 : scan + 1].tolist() == [not on, on]
            for each in (name, f"{name}.on") if each in self.signals
        )  # fmt: skip

    def _changed_at(self, at: str, name: str, change: str) -> bool:
        return self._changed(name, change, at)

    def _stretch(
        self, name: str, state: str | None, number: str | None, since: str | None, to: str,
        longer: str | None,
    ) -> bool:  # fmt: skip
        values = self.signals[name]
        first, last = self._scan(since or "0.00"), self._scan(to)
        value = float(number) if number else float(state == "on")
        return (
            bool((values[first:last] == value).all())
            and (since is None or values[first - 1] != value)
            and (values[last] == value if longer else values[last] != value)
        )

    def _nothing_done(self) -> bool:
        before = self.at // self.exercise.period_ms + 1
        return all(
            (values[:before] == values[0]).all() and (not values[0] or name not in self._panel())
            for name, values in self.signals.items()
            if name == "power" or name.startswith(("panel.", "fault."))
        )

    def _done(self, acts: str) -> bool:
        return all(self._did(act) for act in acts.split(", "))

    def _did(self, act: str) -> bool:
        words, at = re.fullmatch(rf"(.+) at {TIME}", act).groups()  # type: ignore[union-attr]
        scan = self._scan(at)
        if scan > self.at // self.exercise.period_ms:
            return False
        if found := re.fullmatch(r"the power (failed|returned)", words):
            return self._turned("power", scan, found[1] == "returned")
        if found := re.fullmatch(r"the fault '(.+)' (came|went) at (\S+)", words):
            return self._turned(f"fault.{found[3]}.{found[1]}", scan, found[2] == "came")
        if found := re.fullmatch(r"(\S+) was turned (on|off)", words):
            return self._turned(f"panel.{found[1]}", scan, found[2] == "on")
        for hand in self.exercise.plant.controls:
            if isinstance(hand, HandSwitch) and words in hand.acts:
                return self._turned(hand.signal, scan, words == hand.acts[0])
        label, device, handled = re.fullmatch(r"(.+) \((\S+)\) (.+)", words).groups()  # type: ignore[union-attr]
        [name] = [f"panel.{p.symbol}" for p in self.exercise.points
                  if (p.label, p.device) == (label, device)]  # fmt: skip
        return self._turned(name, scan, handled in HANDLED_ON)

    def _turned(self, name: str, scan: int, on: bool) -> bool:
        values = self._values(name.lower())
        return bool(values[scan]) is on and (not scan or bool(values[scan - 1]) is not on)

    def _panel(self) -> set[str]:
        return {f"panel.{p.symbol}" for p in self.exercise.points}

    def _pressed(self, label: str) -> bool:
        before = self.at // self.exercise.period_ms + 1
        return any(
            self._values(f"panel.{p.symbol}")[:before].any()
            for p in self.exercise.points
            if p.label.startswith(label) and f"panel.{p.symbol}" in self.signals
        )


def _duration(lasted: str, at: str, bound: str) -> bool:
    return float(lasted) != float(bound)


def _later(due: str, later: str, allowed: str) -> bool:
    return float(later) >= float(allowed)


@pytest.mark.parametrize("folder", list_exercises(EXERCISES), ids=lambda folder: folder.name)
def test_every_claim_of_a_verdict_is_true_of_its_run(folder: Path) -> None:
    exercise = load_exercise(folder)
    wrong, read = [], 0
    for each in load_programs(folder, exercise):
        if each.right:
            continue
        assembled = assemble(exercise, each.program, faults=faults_in(exercise.scenarios))
        reader = Reader(exercise, assembled)
        for told in acceptance_run(exercise, each.program, causes=False).requirements:
            if told.status is Status.NOT_MET and told.evidence is not None:
                read += 1
                wrong += [f"{each.file.name}: {claim}" for claim in reader.check(told)]
    assert wrong == []
    assert read
