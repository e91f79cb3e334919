"""The rung most likely at fault for each requirement that is not met, by causal slice.

The slice begins at the outputs that the failing check speaks of. Rungs that the explanation of
their values at the failure passes through (``marking.cause``) weigh most, the nearest first; rungs
that only could have had an influence, by what they write and read, weigh less with each step.

Where edits of the program have been tried out, a rung in which one of them mends the requirement
comes before all others (mutation-based fault localisation: M. Papadakis and Y. Le Traon,
'Metallaxis-FL', STVR 25, 2015, from memory); the slice then says which of several.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from server.ladder.names import listed
from server.ladder.points import Direction
from server.ladder.program import Program
from server.marking.causes.cause import why
from server.marking.causes.recording import record_scenario
from server.marking.check import Pattern
from server.marking.dependence import rung_uses
from server.marking.evidence import names_in
from server.marking.exercise import Exercise, Requirement
from server.marking.faults.repair import TriedEdit
from server.marking.verdict import Evidence, RequirementVerdict, Status, Verdict

STATIC = 0.25
"""Weight of a rung that writes a signal of the check, beside 1 for one seen in the failing run."""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A requirement not met and the rung, from 0, that most likely keeps it from being met.

    ``rung`` is None where no rung writes what the requirement speaks of.
    """

    requirement: str
    rung: int | None
    sentence: str


def blame(
    exercise: Exercise, program: Program, verdict: Verdict, trials: Sequence[TriedEdit] = ()
) -> tuple[Suspicion, ...]:
    """Return one suspicion for each requirement whose failure has evidence.

    ``trials`` are edits that have been tried already (``marking.repair``).
    """
    found = (
        _suspect(exercise, program, number, told, trials)
        for number, told in enumerate(verdict.requirements)
    )
    return tuple(suspicion for suspicion in found if suspicion is not None)


def _suspect(
    exercise: Exercise,
    program: Program,
    number: int,
    told: RequirementVerdict,
    trials: Sequence[TriedEdit],
) -> Suspicion | None:
    if told.status is not Status.NOT_MET or told.evidence is None:
        return None
    requirement = exercise.requirements[number]
    asked = list(_written_signals(exercise, program, requirement))
    weights: dict[int, float] = defaultdict(float)
    for rung, steps in _upstream(program, asked).items():
        weights[rung] += STATIC / (1 + steps)
    for rung, steps in _seen(exercise, program, told.evidence, asked):
        weights[rung] += 1 / (1 + steps)
    if not weights:
        nothing = f"no rung writes {listed(asked)}" if asked else "no output point is declared"
        return Suspicion(requirement.id, None, f"{requirement.id}: {nothing}")
    left = _least_left(number, trials)
    rung = min(weights, key=lambda r: (left.get(r, len(exercise.requirements)), -weights[r], r))
    return Suspicion(requirement.id, rung, f"{requirement.id}: most likely rung {rung + 1}")


def _least_left(number: int, trials: Sequence[TriedEdit]) -> dict[int, int]:
    """For each rung in which an edit mends the requirement: how many others stay unmet, at best."""
    found: dict[int, int] = {}
    for trial in trials:
        rung = trial.edit.place.rung
        if rung is not None and number not in trial.left:
            found[rung] = min(found.get(rung, len(trial.left)), len(trial.left))
    return found


def _written_signals(
    exercise: Exercise, program: Program, requirement: Requirement
) -> Iterator[str]:
    """Yield the program's own names for the points that the checks speak of and that it may write.

    A check on the plant alone speaks of every output.
    """
    view = exercise.view(program)
    named = {
        name.removesuffix(".on")
        for check in requirement.checks
        if isinstance(check, Pattern)
        for name in names_in(check)
    }
    points = [*exercise.points, *exercise.internal_bits]
    writable = [p.symbol for p in points if p.direction is not Direction.INPUT]
    spoken_of = [symbol for symbol in writable if symbol.lower() in named]
    for symbol in spoken_of or writable:
        own = view.own_name(symbol)
        if own is not None:
            yield own


def _upstream(program: Program, symbols: Iterable[str]) -> dict[int, int]:
    """Return rungs that the symbols depend on, with the number of steps back."""
    uses = rung_uses(program)
    found: dict[int, int] = {}
    wanted, steps = set(symbols), 0
    while fresh := [
        r for r in range(len(program.rungs)) if r not in found and uses[r].writes & wanted
    ]:
        found |= dict.fromkeys(fresh, steps)
        wanted = set().union(*(uses[rung].reads for rung in fresh))
        steps += 1
    return found


def _seen(
    exercise: Exercise, program: Program, evidence: Evidence, symbols: Iterable[str]
) -> Iterator[tuple[int, int]]:
    """Yield rungs in the explanations of the symbols at the failure, nearest first."""
    scenario = next((s for s in exercise.scenarios if s.name == evidence.scenario), None)
    if scenario is None:
        return
    at = evidence.at_ms // exercise.period_ms
    history = record_scenario(exercise, program, scenario, at + 1)
    for symbol in symbols:
        rungs = [r.rung for r in why(program, history, symbol, history.scans - 1)]
        known = dict.fromkeys(rung for rung in rungs if rung is not None)
        yield from ((rung, steps) for steps, rung in enumerate(known))
