"""Scenarios: a starting state of plant and panel, and a timeline of actions and faults."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

from server.marking.expression import Expression


@dataclass(frozen=True, slots=True)
class Turn:
    """A control of the panel, a fault or the supply is switched on or off.

    ``control`` is a symbol of the machine: ``panel.start_pb``, ``fault.stop_pb.broken wire``,
    ``power``.
    """

    control: str
    on: bool


@dataclass(frozen=True, slots=True)
class Adjust:
    """A quantity of the plant is set by hand: ``sump.level`` to 1200 mm, say."""

    quantity: str
    value: float


@dataclass(frozen=True, slots=True)
class Put:
    """An item is put on a belt, ``position`` metres from its infeed."""

    belt: str
    position: float
    marked: bool = False


@dataclass(frozen=True, slots=True)
class Clear:
    """All items between two positions (metres) are taken off a belt."""

    belt: str
    first: float
    last: float


Action: TypeAlias = Turn | Adjust | Put | Clear


@dataclass(frozen=True, slots=True)
class Step:
    """Actions taken ``after_ms`` from the step before, or in the scan in which ``when`` holds.

    A condition that does not come within ``within_ms`` ends the scenario there; where the step
    ``goes_on``, it is then taken all the same.
    """

    actions: tuple[Action, ...] = ()
    after_ms: int = 0
    when: Expression | None = None
    within_ms: int = 0
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class Scenario:
    """One run of the suite. ``judges`` limits it to those requirements; empty means all.

    ``start`` is applied before the first scan. The run ends ``run_on_ms`` after the last step.
    """

    name: str
    steps: tuple[Step, ...]
    start: tuple[Action, ...] = ()
    open: bool = False
    judges: tuple[str, ...] = ()
    run_on_ms: int = 2000


@dataclass(frozen=True, slots=True)
class HandMoves:
    """What a hand moves in the plant itself: quantities that it sets, and items."""

    quantities: frozenset[str]
    items: bool

    def __bool__(self) -> bool:
        return self.items or bool(self.quantities)


def hand_moves_in(scenarios: Iterable[Scenario]) -> HandMoves:
    """Return what a hand moves in the course of some scenario."""
    actions = [a for scenario in scenarios for step in scenario.steps for a in step.actions]
    quantities = frozenset(a.quantity for a in actions if isinstance(a, Adjust))
    return HandMoves(quantities, any(isinstance(a, Put | Clear) for a in actions))


def faults_in(scenarios: Iterable[Scenario]) -> frozenset[str]:
    """Return the faults that come in any of the scenarios, by their control's name."""
    return frozenset(
        action.control
        for scenario in scenarios
        for actions in (scenario.start, *(step.actions for step in scenario.steps))
        for action in actions
        if isinstance(action, Turn) and action.on and action.control.startswith("fault.")
    )
