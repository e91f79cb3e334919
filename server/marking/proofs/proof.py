"""Proof of one requirement: every order of operator actions, every rate of the plant.

The abstract machine lets the operator, the supply and the plant do anything that they could do in
a scan. If no reachable state violates a check, no run of the real plant does (the abstract step
is sound). If one does, the trail is only a suspicion until it has been replayed on the concrete
plant (``counterexample``).
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from server.ladder.elements import BlockFamily, family_of
from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.machine import HAND, Assembled, NotAbstract
from server.marking.proofs.abstract_machines import SECTIONS, AbstractMachines
from server.marking.proofs.search import MAX_CHOICES, SearchResult, Trail, search
from server.scan.assembler import Bit, Machine
from server.scan.lanes import ALL
from server.scan.liveness import only_carried


def paced(pace: int) -> tuple[str, ...]:
    """Return the sections of one step of a search: inputs stay as they are for ``pace`` scans."""
    return ("scan", "monitors") * (pace - 1) + SECTIONS


MOST_TRANSITIONS = 6_000_000
"""Work for one search; about a third of a second."""


HAND_SHARE = 4
"""The share of the work in which a search with a hand in the plant must end is one in so many."""


class Outcome(StrEnum):
    """What a proof came to."""

    PROVED = "proved"
    REFUTED = "refuted"
    OPEN = "not proved"


class Timers(StrEnum):
    """How the program's timers were taken."""

    NONE = "no timers"
    ANY = "whatever the timers' times"
    COUNTED = "with the timers' scans counted"


@dataclass(frozen=True, slots=True)
class SuspectedViolation:
    """A way to a violation on the abstract machine, with the machine that it belongs to.

    Each of the trail's choices stands for ``pace`` scans.
    """

    assembled: Assembled
    machine: Machine
    trail: Trail
    monitor: int
    pace: int = 1


@dataclass(frozen=True, slots=True)
class Proof:
    """The outcome for one requirement, with the reason where it is not proved.

    ``suspicions`` has one way to a violation of each refuted check, the shortest first. ``covers``
    says what the search let happen.
    """

    requirement: str
    outcome: Outcome
    reason: str
    timers: Timers
    states: int
    transitions: int
    suspicions: tuple[SuspectedViolation, ...] = ()
    covers: str = ""

    @property
    def suspicion(self) -> SuspectedViolation | None:
        """The shortest way to a violation that the search found."""
        return self.suspicions[0] if self.suspicions else None


def provable(exercise: Exercise, number: int) -> bool:
    """Return whether a requirement speaks of behaviour at all."""
    checks = exercise.requirements[number].checks
    return any(isinstance(check, Pattern) for check in checks)


def prove(
    machines: AbstractMachines,
    number: int,
    *,
    work: int = MOST_TRANSITIONS,
    count_timers: bool = False,
    pace: int = 1,
    by_hand: bool = True,
) -> Proof:
    """Search the program's machine of requirement ``number`` within ``work`` transitions.

    Timers are first taken as over at any later scan. Where that leaves a suspicion, the scans of
    one timer after another are counted, and at last those of all, as far as the work allows;
    with ``count_timers`` those of all at once. Inputs may change in every ``pace``-th scan. Without
    ``by_hand`` no hand is in the plant.
    """
    if count_timers:
        return _attempt(machines, number, Timers.COUNTED, work, pace=pace, by_hand=by_hand)
    timers = [
        variable.symbol.lower()
        for variable in machines.program.variables
        if family_of(variable.type) is BlockFamily.TIMER
    ]
    if not timers:
        return _attempt(machines, number, Timers.NONE, work)
    free = _attempt(machines, number, Timers.ANY, work)
    if free.outcome is not Outcome.REFUTED:
        return free
    for timer in timers if len(timers) > 1 else ():
        one = _attempt(machines, number, Timers.COUNTED, work, frozenset({timer}))
        if one.outcome is Outcome.PROVED:
            return one
    counted = _attempt(machines, number, Timers.COUNTED, work)
    if counted.outcome is Outcome.OPEN:
        return replace(counted, suspicions=free.suspicions)
    return counted


def _attempt(
    machines: AbstractMachines,
    number: int,
    timers: Timers,
    work: int,
    counted: frozenset[str] | None = None,
    pace: int = 1,
    by_hand: bool = True,
) -> Proof:
    """Return one search. ``counted`` names the timers to be counted, None for all of them."""
    name = machines.exercise.requirements[number].id
    try:
        assembled = machines.of(
            number, exact_timers=timers is not Timers.ANY if counted is None else counted
        )
    except NotAbstract as missing:
        return Proof(name, Outcome.OPEN, str(missing), timers, 0, 0)
    # What happens in a step of several scans is seen at its end.
    targets = tuple(m.bad if pace == 1 else m.violated for m in assembled.monitors)
    machine = only_carried(machines.sliced(assembled, set(targets)), paced(pace), set())
    if len(machine.choices) > MAX_CHOICES:
        free = len(machine.choices)
        reason = f"{free} things are free in each scan; {MAX_CHOICES} can be tried."
        return Proof(name, Outcome.OPEN, reason, timers, 0, 0)
    if not by_hand:
        machine = _without_hand(assembled, machine)
    tried, machine, result = _with_hand(machine, assembled, targets, work, pace)
    hits = [(i, trail) for i, trail in enumerate(result.trails) if trail is not None]
    counts = (result.states, result.transitions)
    if hits:
        for plain in (_everyday(assembled, machine), _without_hand(assembled, machine)):
            again = _search(plain, assembled, targets, work, pace)
            milder = [(i, trail) for i, trail in enumerate(again.trails) if trail is not None]
            if milder:
                machine, hits = plain, milder
                break
        hits.sort(key=lambda hit: len(hit[1].choices))
        found = tuple(
            SuspectedViolation(assembled, machine, trail, monitor, pace) for monitor, trail in hits
        )
        return Proof(name, Outcome.REFUTED, "", timers, *counts, found)
    if not result.complete:
        reason = f"The search stopped after {result.states} states; there are more."
        return Proof(name, Outcome.OPEN, reason, timers, *counts)
    return Proof(
        name,
        Outcome.PROVED,
        "",
        timers,
        *counts,
        covers=_covers(assembled, timers, by_hand and tried),
    )


def _with_hand(
    machine: Machine, assembled: Assembled, targets: tuple[int, ...], work: int, pace: int
) -> tuple[bool, Machine, SearchResult]:
    """Search with a hand in the plant, where there is one; without it where that does not end.

    Return whether the hand was there, the machine searched and the result.
    """
    alone = _without_hand(assembled, machine)
    if len(alone.choices) < len(machine.choices):
        result = _search(machine, assembled, targets, work // HAND_SHARE, pace)
        if result.complete or any(trail is not None for trail in result.trails):
            return True, machine, result
    tried = HAND in assembled.signals and len(alone.choices) == len(machine.choices)
    return tried, alone, _search(alone, assembled, targets, work, pace)


def _covers(assembled: Assembled, timers: Timers, by_hand: bool) -> str:
    """Say what was free in each scan, as the machine has it, and what was not."""
    free = set(assembled.machine.choices)
    named = {
        name: signal.plane
        for name, signal in assembled.signals.items()
        if isinstance(signal, Bit) and signal.plane in free
    }
    tried = ["every order of actions at the panel"]
    if "power" in named:
        tried.append("loss of power at any time")
    faults = sorted(name for name in named if name.startswith("fault."))
    for _, symbol, fault in (name.split(".", 2) for name in faults):
        tried.append(f"{fault} at {symbol}")
    if by_hand:
        tried.append("items moved and levels set by hand at any time")
    if free - set(named.values()):
        tried.append("every rate of the plant")
    if timers is not Timers.NONE:
        tried.append(timers.value)
    if by_hand:
        return ", ".join(tried)
    return f"{', '.join(tried)}; levels set and items moved by hand were not tried"


def _search(
    machine: Machine, assembled: Assembled, targets: tuple[int, ...], work: int, pace: int
) -> SearchResult:
    return search(
        machine,
        tuple(machine.sections[s] for s in paced(pace)),
        targets,
        budget=max(64, work >> len(machine.choices)),
        starts=tuple(start.planes for start in assembled.starts),
    )


def _everyday(assembled: Assembled, machine: Machine) -> Machine:
    """Return the machine with supply, without faults and hand: its trails are easier to replay."""
    rare = {
        signal.plane: name == "power"
        for name, signal in assembled.signals.items()
        if isinstance(signal, Bit) and (name in ("power", HAND) or name.startswith("fault."))
    }
    return _fixed(machine, rare)


def _without_hand(assembled: Assembled, machine: Machine) -> Machine:
    """Return the machine in which no hand moves items or sets quantities."""
    hand = assembled.signals.get(HAND)
    return _fixed(machine, {hand.plane: False}) if isinstance(hand, Bit) else machine


def _fixed(machine: Machine, planes: dict[int, bool]) -> Machine:
    """Return the machine in which some choices are made."""
    initial = machine.initial.copy()
    for plane, on in planes.items():
        initial[plane] = ALL if on else 0
    kept = tuple(plane for plane in machine.choices if plane not in planes)
    return replace(machine, initial=initial, choices=kept)
