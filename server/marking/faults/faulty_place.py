"""Where a program is wrong, for one requirement and one run that breaks it: a rung, an element.

Single edits are tried in that run, those first that change what the chain of causes passes through.
Of those with which the run no longer breaks the requirement, the one is taken that mends most in
the whole suite and breaks nothing else there (mutation-based fault localisation: M. Papadakis and
Y. Le Traon, 'Metallaxis-FL', STVR 25, 2015, from memory). Where there is none, it is the place at
which the chain ends. The count of trials bounds the time, so that the answer is the same on every
machine.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import islice
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.ladder.description import describe_place
from server.ladder.messages import Place
from server.ladder.program import Coil, Path, Program, walk
from server.ladder.references import Usage, occurrences
from server.ladder.validation import errors
from server.marking.causes.cause import Reason
from server.marking.causes.history import History
from server.marking.exercise import Exercise, RequirementKind
from server.marking.faults.catching import Suite
from server.marking.faults.element_faults import FaultKind
from server.marking.faults.named_values import named_counts, named_times
from server.marking.faults.repairs import unchecked_mends
from server.marking.faults.rung_effect import Effects
from server.marking.faults.variants import Variant, variants
from server.marking.scenario import Scenario

MOST_TRIALS = 1000
"""Programs that are tried in the run, a few milliseconds each."""

_BLUNT = (FaultKind.OPENED, FaultKind.SHORTED, FaultKind.BRANCH)

"""Edits that cut a rung or bridge an element."""

LONGEST_CHAIN = 1000
"""More causes than any chain has."""

_Rank: TypeAlias = tuple[int, int, int]

_MENDS, _HELPS, _EXCHANGES, _HELPS_BLUNTLY = range(4)
"""What an edit does for a program, the best first.

It mends something in the whole suite and breaks nothing; it helps in the run; it mends the
requirement in the whole suite and breaks another one; it cuts or bridges, and so helps in the run.
"""

_IN_CHAIN, _IN_ITS_RUNGS, _DECLARED, _ELSEWHERE = range(4)
"""How far an edit is from the chain of causes."""


@dataclass(frozen=True, slots=True)
class BrokenRun:
    """A run that breaks a requirement, by its number.

    ``history`` is what the program did in it up to then, ``reasons`` are the causes of what was
    seen at its end, the nearest first.
    """

    requirement: int
    scenario: Scenario
    history: History
    reasons: tuple[Reason, ...]

    @property
    def chain(self) -> list[Reason]:
        """The causes that a rung has to do with."""
        return [reason for reason in self.reasons if reason.rung is not None]

    @property
    def elements(self) -> dict[tuple[int | None, Path | None], int]:
        """The elements in the chain by rung and path, with the step that names them last."""
        chain = enumerate(self.chain)
        return {(reason.rung, path): step for step, reason in chain for path in reason.paths}


@dataclass(frozen=True, slots=True)
class FaultyPlace:
    """A place in a program, None if no rung has to do with a failure.

    ``beside`` says whether something is missing beside it, ``alone`` whether an edit there mends
    all that one can mend.
    """

    place: Place | None
    beside: bool
    alone: bool

    @property
    def rung(self) -> int | None:
        """The rung of the place, from 0."""
        return None if self.place is None else self.place.rung

    def describe(self, program: Program) -> str:
        """Return the place in words: 'rung 3, beside coil lamp at %QX0.1'; '' without one."""
        if self.place is None:
            return ""
        words = describe_place(self.place, program)
        return words.replace(", ", ", beside ", 1) if self.beside else words


def faulty_place(
    exercise: Exercise,
    program: Program,
    run: BrokenRun,
    *,
    most: int = MOST_TRIALS,
    suite: Suite | None = None,
) -> FaultyPlace:
    """Return where a program most likely breaks a requirement.

    Where something is missing, it is the element that it would be joined to. ``suite`` is that of
    the exercise, if it is there already.
    """
    unmendable = {
        number
        for number, requirement in enumerate(exercise.requirements)
        if requirement.kind is RequirementKind.DOCUMENTATION
    }
    suite = suite or Suite(exercise)
    before = suite.complaints(program).keys()
    best: _Rank | None = None
    found, beside, alone = _end_of(run.chain), False, False
    for edit in islice(_nearest_first(exercise, program, run), most):
        if suite.breaks(edit.program, run.requirement, run.scenario, run.history.scans):
            continue
        left = suite.complaints(edit.program).keys()
        rank = _rank(edit, run, left, before)
        if rank is not None and (best is None or rank < best):
            best, found, beside = rank, edit.place, _adds(program, edit)
        if left <= unmendable:
            alone = True
            break
    place = None if found is None else _on_an_element(program, found)
    return FaultyPlace(place, beside, alone)


def _adds(program: Program, edit: Variant) -> bool:
    """Return whether an edit leaves all that is in a rung, and adds to it."""
    rung, path = edit.place.rung, edit.place.path
    if rung is None or path is None:
        return False
    before, after = (
        Counter(element for _, element in walk(each.rungs[rung].network))
        for each in (program, edit.program)
    )
    return before < after


def _rank(
    edit: Variant, run: BrokenRun, left: Collection[int], before: Collection[int]
) -> _Rank | None:
    """Return how good an edit is, the least being best; None for one that does not help."""
    broken = len(set(left) - set(before))
    if not broken and len(left) < len(before):
        return _MENDS, len(left), 0
    step = run.elements.get((edit.place.rung, edit.place.path))
    # It helps in this run alone: it counts if the chain passes there, or if a memory is concerned,
    # of which a chain names no element.
    near = step is not None or edit.kind is FaultKind.RETENTION
    if not broken and near and edit.kind not in _BLUNT:
        return _HELPS, len(left), 0
    if broken == 1 and run.requirement not in left:
        return _EXCHANGES, len(left), 0
    # What cuts a rung, or bridges an element, helps nearly everywhere; of such ones the farthest
    # back counts.
    if not broken and step is not None:
        return _HELPS_BLUNTLY, len(left), LONGEST_CHAIN - step
    return None


def _end_of(chain: list[Reason]) -> Place | None:
    """Return the first element of the last cause that a rung has to do with."""
    if not chain:
        return None
    return Place(rung=chain[-1].rung, path=next(iter(chain[-1].paths), None))


def _on_an_element(program: Program, place: Place) -> Place | None:
    """Return the element that stands for a place that is none.

    Of a branch it is the first one, of a declaration the output or block that first writes what it
    is about. None if no rung writes that.
    """
    if place.rung is None:
        uses = occurrences(program)
        writes = (
            each for each in uses if each.symbol == place.symbol and each.role is not Usage.READ
        )
        return next((each.place for each in writes), None)
    if place.path is None:
        return place
    paths = (path for path, _ in walk(program.rungs[place.rung].network))
    within = (path for path in paths if path[: len(place.path)] == place.path)
    return replace(place, path=next(within, None))


def _nearest_first(exercise: Exercise, program: Program, run: BrokenRun) -> Iterator[Variant]:
    """Yield the edits in the order in which they are tried, without those that change nothing.

    Those in the chain and its rungs come first, and among them those of which an element has few.
    """
    faults = variants(program)
    many = list(unchecked_mends(program, named_times(exercise), named_counts(exercise)))
    few = [edit for edit in faults if edit.kind is not FaultKind.EXCHANGED]
    few += (edit for edit in many if edit.kind is FaultKind.LITERAL)
    edges = [edit for edit in many if edit.kind is FaultKind.EDGE]
    many = [edit for edit in many if edit.kind not in (FaultKind.EDGE, FaultKind.LITERAL)]
    many += (edit for edit in faults if edit.kind is FaultKind.EXCHANGED)
    many += edges
    effects = Effects(program, run.history)
    for near in (True, False):
        for group in (few, many):
            wanted = [e for e in group if (_distance(program, e, run) is not _ELSEWHERE) is near]
            yield from _in_order(program, wanted, run, effects)


def _in_order(
    program: Program, edits: Iterable[Variant], run: BrokenRun, effects: Effects
) -> Iterator[Variant]:
    """Yield edits that have an effect and may run, those first that have one at a moment."""
    ordered, moments = [], _moments(run)
    for edit in edits:
        changes = effects.of(edit)
        if changes.any():
            late = not changes[moments].any()
            ordered.append((late, _distance(program, edit, run), edit))
    ordered.sort(key=lambda each: each[:2])
    yield from (edit for *_, edit in ordered if not errors(edit.program))


def _moments(run: BrokenRun) -> NDArray[np.int64]:
    """Return the scans of the causes and the last one, each with those beside it."""
    scans = run.history.scans
    seen = np.array([scans - 1, *(reason.scan - run.history.first for reason in run.chain)])
    return np.unique(np.concatenate([seen - 1, seen, seen + 1])).clip(0, scans - 1)


def _distance(program: Program, edit: Variant, run: BrokenRun) -> int:
    """Return how far an edit is from the chain of causes."""
    place = edit.place
    if (place.rung, place.path) in run.elements:
        return _IN_CHAIN
    if place.rung in {reason.rung for reason in run.chain}:
        return _IN_ITS_RUNGS if edit.kind is not FaultKind.RUNGS else _DECLARED
    signals = {reason.signal.partition(".")[0] for reason in run.reasons}
    if place.symbol in signals:
        return _DECLARED
    if place.rung is not None and edit.kind is FaultKind.OUTPUT:
        added = set(edit.program.rungs[place.rung].outputs) - set(program.rungs[place.rung].outputs)
        if any(isinstance(output, Coil) and output.symbol in signals for output in added):
            return _DECLARED
    return _ELSEWHERE
