"""The second look: a program that meets everything, compared with the reference programs.

The references run beside it as shadows (``marking.shadows``) in every written scenario, and in
an exhaustive search of everything that the panel, the supply and the plant can do at the pace of
a hand. Where the search does not end, random runs take its place. Nothing is deducted for a
difference: a teacher decides. Where nothing differs, a search of every order down to single scans
may prove that the program behaves as a reference.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from server.ladder.program import Program
from server.marking.checks.lasts import Lasts
from server.marking.evidence import look_at
from server.marking.exercise import Exercise
from server.marking.kept import kept
from server.marking.machine import Assembled, assemble, kept_frame
from server.marking.phrases import seconds
from server.marking.presentation.scenario_text import scenario_text
from server.marking.presentation.scenario_words import steps_in_words
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import (
    replay_suspicion,
    simulate_trail,
    suspected_scenario,
)
from server.marking.proofs.proof import Outcome, SuspectedViolation, prove
from server.marking.proofs.stress import Violation, stress_run
from server.marking.replay import NEVER, replay_blocks, trace
from server.marking.scenario import Scenario, faults_in
from server.marking.shadows import PREFIX, with_second_look
from server.marking.timeline import suite_timelines
from server.marking.verdict import Difference

MOST_TRANSITIONS = 6_000_000

PACE_MS = 50
"""Inputs that change closer together than this are a race, which no sheet decides.

A hand is slower (common practice, no source). Two right programs may see a race differently, since
one of them reads an input a scan later, and may then latch different states. So differences are
looked for where inputs change together or at least so far apart; only the proof lets them race.
"""

RACE = f"It differs from every reference only where inputs change within {PACE_MS} ms."


class FoundBy(StrEnum):
    """What found a difference."""

    SCENARIO = "a scenario"
    SEARCH = "the exhaustive search"
    RANDOM_RUN = "a random run"
    ENDURANCE = "an endurance run"


class Alike(StrEnum):
    """Whether the search proved that a program behaves as a reference, and what it let happen."""

    NO = "not proved"
    WITHOUT_FAULTS = "proved without faults"
    WITH_FAULTS = "proved with the faults that the scenarios know"


@dataclass(frozen=True, slots=True)
class SecondLook:
    """The differences found, one an output, and whether the program is proved to have none.

    ``reason`` says why it is not proved although nothing differed.
    """

    differences: tuple[Difference, ...]
    alike: Alike
    reason: str = ""


def look_again(
    exercise: Exercise,
    program: Program,
    *,
    runs: int,
    seed: int,
    work: int = MOST_TRANSITIONS,
) -> SecondLook:
    """Compare a program that is free of errors with the references of its exercise.

    ``work`` bounds the search in transitions; ``runs`` random minutes with ``seed`` are tried where
    the search does not end. The exercise must have references.
    """
    widened = with_second_look(exercise)
    everyday = _everyday(exercise)
    number = len(widened.requirements) - 1
    differences = {d.output: d for d in _in_scenarios(widened, program)}
    pace = -(-PACE_MS // exercise.period_ms)
    calm = AbstractMachines(everyday, program)
    proof = prove(calm, number, work=work, count_timers=True, pace=pace)
    for suspicion in proof.suspicions:
        found = _by_search(everyday, program, number, suspicion)
        differences.setdefault(found.output, found)
    if proof.outcome is Outcome.PROVED and faults_in(widened.scenarios):
        with_faults = AbstractMachines(widened, program)
        worked = prove(with_faults, number, work=work, count_timers=True, pace=pace)
        for suspicion in worked.suspicions:
            found = _by_search(widened, program, number, suspicion)
            differences.setdefault(found.output, found)
    if proof.outcome is Outcome.OPEN and runs:
        # Alone: what breaks a requirement first hides no difference that comes later.
        alone = replace(everyday, requirements=everyday.requirements[number:])
        for each in stress_run(alone, program, frozenset({0}), seed, runs=runs).values():
            found = _in_run(
                alone, program, each.scenario, each.monitor, each.scan, FoundBy.RANDOM_RUN
            )
            differences.setdefault(found.output, found)
    if differences or proof.outcome is not Outcome.PROVED:
        return SecondLook(tuple(differences.values()), Alike.NO, proof.reason)
    faulty = AbstractMachines(widened, program)
    for searched, alike in ((faulty, Alike.WITH_FAULTS), (calm, Alike.WITHOUT_FAULTS)):
        # A hand in the plant is no faster than at the panel: it was there at its own pace.
        proof = prove(searched, number, work=work, count_timers=True, by_hand=False)
        if proof.outcome is Outcome.PROVED:
            return SecondLook((), alike)
    return SecondLook((), Alike.NO, proof.reason or RACE)


@kept
def _everyday(exercise: Exercise) -> Exercise:
    """Return the exercise of the second look without the scenarios in which faults come."""
    widened = with_second_look(exercise)
    return replace(widened, scenarios=tuple(s for s in widened.scenarios if not faults_in([s])))


def _in_scenarios(widened: Exercise, program: Program) -> Iterator[Difference]:
    """Yield the first written scenario in which each output differs, open ones first."""
    faults = faults_in(widened.scenarios)
    assembled = kept_frame(widened, faults).assembled(program)
    timelines = suite_timelines(widened, faults)
    seen = replay_blocks(assembled, timelines, len(widened.scenarios))
    number = len(widened.requirements) - 1
    for (requirement, _), monitor in assembled.monitor_numbers.items():
        lanes = np.flatnonzero(seen.violated[monitor] != NEVER)
        if requirement == number and lanes.size:
            lane = min(lanes, key=lambda each: (not widened.scenarios[each].open, each))
            scan = int(seen.violated[monitor, lane])
            scenario = widened.scenarios[lane]
            yield _shown(widened, assembled, scenario, monitor, scan, FoundBy.SCENARIO)


def differences_in(
    exercise: Exercise, program: Program, runs: Iterable[Violation]
) -> tuple[Difference, ...]:
    """Return the differences that an endurance run found, one an output."""
    widened = with_second_look(exercise)
    found = (
        _in_run(widened, program, each.scenario, each.monitor, each.scan, FoundBy.ENDURANCE)
        for each in runs
    )
    return tuple({each.output: each for each in found}.values())


def _in_run(
    widened: Exercise, program: Program, scenario: Scenario, monitor: int, scan: int, by: FoundBy
) -> Difference:
    """Return a difference in a run of the machine ``widened`` with this scenario alone."""
    own = replace(widened, scenarios=(*widened.scenarios, scenario))
    assembled = assemble(own, program, faults=faults_in(own.scenarios))
    return _shown(own, assembled, scenario, monitor, scan, by)


def _shown(
    widened: Exercise,
    assembled: Assembled,
    scenario: Scenario,
    monitor: int,
    scan: int,
    by: FoundBy,
) -> Difference:
    evidence, _ = look_at(widened, assembled, monitor, scenario, scan)
    output = _output_of(assembled, monitor)
    traced = trace(assembled, scenario, {output: assembled.signals[output.lower()]}, scan + 1)
    value = int(traced.signals[output][scan])
    at_ms = max(0, evidence.at_ms - widened.tolerance_ms)
    lanes = tuple(lane for lane in evidence.lanes if not lane.name.startswith(PREFIX))
    return Difference(
        output,
        _sentence(widened, output, value, at_ms),
        at_ms,
        by,
        steps_in_words(scenario),
        replace(evidence, at_ms=at_ms, lanes=lanes),
        as_text(widened, scenario, output),
    )


def as_text(exercise: Exercise, scenario: Scenario, what: str) -> str:
    """Return a run as it would stand in the exercise's file."""
    return scenario_text(replace(scenario, name=f"Second look at {what}", open=False), exercise)


def _by_search(
    everyday: Exercise, program: Program, number: int, suspicion: SuspectedViolation
) -> Difference:
    """Return a difference that the search found: on the plant itself, or as the search had it."""
    replayed = replay_suspicion(everyday, program, number, suspicion)
    if replayed is not None and replayed.nominal:
        return _in_run(
            everyday, program, replayed.scenario, replayed.monitor, replayed.scan, FoundBy.SEARCH
        )
    output = _output_of(suspicion.assembled, suspicion.monitor)
    states = list(simulate_trail(suspicion, [output]))
    last_ms = (len(states) - 1) * everyday.period_ms * suspicion.pace
    at_ms = max(0, last_ms - everyday.tolerance_ms)
    sentence = _sentence(everyday, output, states[-1][output], at_ms)
    scenario = suspected_scenario(everyday, suspicion)
    steps, text = steps_in_words(scenario), as_text(everyday, scenario, output)
    return Difference(output, sentence, at_ms, FoundBy.SEARCH, steps, scenario=text)


def _output_of(assembled: Assembled, monitor: int) -> str:
    check = assembled.checks[monitor]
    assert isinstance(check, Lasts), "the second look has a bound for each output"
    return check.condition.text.removeprefix(PREFIX)


def _sentence(exercise: Exercise, output: str, value: int, at_ms: int) -> str:
    point = next(p for p in exercise.points if p.symbol == output)
    longer = f"for more than {seconds(exercise.tolerance_ms)}, from {seconds(at_ms)} on"
    if point.type != "BOOL":
        return f"{output} showed {value} {longer}; no reference program shows that number there."
    now, then = ("on", "off") if value else ("off", "on")
    return f"{output} was {now} {longer}; in every reference program it is {then} there."
