"""What an author can do about an undemanded output: a check that demands it, an item of ``free``.

A check is proposed where the input points alone say what the output must be, or when it must not
change. It is as general as the right programs allow, in the written scenarios and in random
minutes, and it notices the run in which nothing else did.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.marking.check import Pattern
from server.marking.checks import read_check
from server.marking.coverage.undemanded import Undemanded
from server.marking.exercise import Exercise, Requirement, RequirementKind
from server.marking.machine import assemble
from server.marking.proofs.beginnings import Beginnings
from server.marking.proofs.random_timeline import draw_block
from server.marking.replay import NEVER, replay, replay_block
from server.marking.scenario import faults_in

Literals: TypeAlias = tuple[tuple[str, bool], ...]
"""Input points, and whether each is on."""

Shape: TypeAlias = Callable[[Exercise, Undemanded, Literals], Mapping[str, Any]]
"""Makes a check of a story and its situation."""

RANDOM_BLOCKS = 4
LENGTH_MS = 60_000


@dataclass(frozen=True, slots=True)
class Proposal:
    """A check and an item of ``free`` as they stand in the file; ``check`` is empty for none.

    ``requirement`` is the id of the one that speaks of the output already, or empty.
    """

    check: Mapping[str, Any]
    requirement: str
    free: Mapping[str, Any]


def propose(exercise: Exercise, story: Undemanded) -> Proposal:
    """Propose what demands the output of a story, and what leaves it free."""
    check: Mapping[str, Any] = {}
    for shape in (_always, _edge):
        found = _generalized(exercise, story, shape)
        if found is not None:
            check = shape(exercise, story, found)
            break
    free = {
        "outputs": [story.output],
        "when": _all_on(story.situation),
        "sentence": f"What {story.output} does while {_in_words(story.situation, 'is')}.",
    }
    return Proposal(check, _speaking_of(exercise, story.output), free)


def _always(exercise: Exercise, story: Undemanded, situation: Literals) -> dict[str, Any]:
    """In this situation the output is as the references have it."""
    return {
        "whenever": _all_on(situation),
        "then": f"NOT {story.output}" if story.on else story.output,
        "within": f"{exercise.tolerance_ms} ms",
        "unless": " OR ".join(_literal(name, not on) for name, on in situation),
        "fails": f"{_state(story)} although {_in_words(situation)}.",
    }


def _edge(exercise: Exercise, story: Undemanded, situation: Literals) -> dict[str, Any]:
    """In this situation the output does not change of itself."""
    edge = "RISING" if story.on else "FALLING"
    began = "came on" if story.on else "went off"
    return {
        "never": f"{edge}({story.output}) AND {_all_on(situation)}",
        "given": _all_on(situation),
        "fails": f"{story.output} {began} although {_in_words(situation)}.",
    }


def _generalized(exercise: Exercise, story: Undemanded, shape: Shape) -> Literals | None:
    """Return the fewest literals with which a check of this shape is right; None where none is."""
    kept: Literals = (*story.situation, ("power", True))
    if not _right(exercise, story, [shape(exercise, story, kept)])[0]:
        return None
    while len(kept) > 1:
        fewer = [kept[:i] + kept[i + 1 :] for i in range(len(kept))]
        right = _right(exercise, story, [shape(exercise, story, each) for each in fewer])
        shorter = next((each for each, good in zip(fewer, right, strict=True) if good), None)
        if shorter is None:
            break
        kept = shorter
    return kept


def _right(
    exercise: Exercise, story: Undemanded, checks: Sequence[Mapping[str, Any]]
) -> list[bool]:
    """Say of each check whether it notices the story and no right program violates it."""
    patterns = tuple(
        c for c in (read_check(dict(each)) for each in checks) if isinstance(c, Pattern)
    )
    proposed = Requirement("proposed", "", RequirementKind.STATED, patterns)
    judged = replace(exercise, requirements=(proposed,))
    saboteur = assemble(judged, story.reference, faults=(), blink_ms=2 * exercise.tolerance_ms)
    noticed = replay(saboteur, [story.run]).violated[:, 0] != NEVER
    broken = np.zeros(len(patterns), np.bool_)
    for reference in exercise.references:
        broken |= _violates(judged, reference)
    return [bool(good) for good in noticed & ~broken]


def _violates(judged: Exercise, reference: Program) -> NDArray[np.bool_]:
    """Which checks a right program violates in written scenarios or random minutes."""
    assembled = assemble(judged, reference, faults=())
    plain = [s for s in judged.scenarios if not faults_in([s])]
    broken: NDArray[np.bool_] = (replay(assembled, plain).violated != NEVER).any(axis=1)
    begin = Beginnings.of(judged, assembled)
    for block in range(RANDOM_BLOCKS):
        drawn = draw_block(0, block, begin.panel, begin.timeline, judged.period_ms, LENGTH_MS)
        broken |= (replay_block(assembled, drawn.timeline)[0] != NEVER).any(axis=1)
    return broken


def _speaking_of(exercise: Exercise, output: str) -> str:
    """Return the id of the first requirement on behavior that names an output; empty for none."""
    for requirement in exercise.requirements:
        for check in requirement.checks:
            names = {n for e in check.conditions().values() for n in e.names()}
            if isinstance(check, Pattern) and names & {output.lower(), f"{output.lower()}.on"}:
                return requirement.id
    return ""


def _literal(name: str, on: bool) -> str:
    return name if on else f"NOT {name}"


def _all_on(situation: Literals) -> str:
    return " AND ".join(_literal(name, on) for name, on in situation)


def _in_words(situation: Literals, verb: str = "was") -> str:
    """Return the situation as a clause: 'start_pb was on and stop_pb was off'."""
    clauses = [f"{name} {verb} {'on' if on else 'off'}" for name, on in situation]
    return " and ".join([", ".join(clauses[:-1]), clauses[-1]] if clauses[1:] else clauses)


def _state(story: Undemanded) -> str:
    return f"{story.output} was {'on' if story.on else 'off'}"
