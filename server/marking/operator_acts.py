"""What was done in a run: controls of the panel, the supply, faults, each with its scan."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.ladder.points import PointDeclaration
from server.plant.controls import HandSwitch
from server.plant.devices import kind_of
from server.plant.plant import Plant
from server.scan.assembler import Bit, Signal

PANEL, FAULT, SUPPLY = "panel.", "fault.", "power"


@dataclass(frozen=True, slots=True)
class Act:
    """One change of a control: the scan in which it came, and its words: 'Stop was pressed'."""

    scan: int
    words: str


def control_signals(signals: Mapping[str, Signal]) -> dict[str, Signal]:
    """Return what an operator, a fault or the supply changes, by lower-case name."""
    return {
        name: signal
        for name, signal in signals.items()
        if isinstance(signal, Bit) and (name == SUPPLY or name.startswith((PANEL, FAULT)))
    }


def acts_in(
    points: Iterable[PointDeclaration],
    plant: Plant,
    signals: Mapping[str, NDArray[np.float64]],
) -> tuple[Act, ...]:
    """Return what changed in a run, in its order; ``signals`` is float64[scans] by name.

    A control of the panel that is on in the first scan was worked before it; what the plant does by
    itself from the start is no act.
    """
    by_name = {f"{PANEL}{point.symbol}".lower(): point for point in points}
    hands = {each.signal: each for each in plant.controls if isinstance(each, HandSwitch)}
    acts = []
    for name, values in sorted(signals.items()):
        first = 0.0 if name in by_name else values[0]
        before = np.concatenate([[first], values[:-1]])
        for scan in np.flatnonzero(values != before):
            on, hand = bool(values[scan]), hands.get(name)
            said = hand.acts[not on] if hand is not None else ""
            acts.append(Act(int(scan), said or _words(name, by_name.get(name), on)))
    return tuple(sorted(acts, key=lambda act: act.scan))


def _words(name: str, point: PointDeclaration | None, on: bool) -> str:
    if point is not None:
        return f"{point.label} ({point.device}) {kind_of(point).handled[not on]}"
    if name == SUPPLY:
        return "the power returned" if on else "the power failed"
    if name.startswith(FAULT):
        symbol, _, fault = name.removeprefix(FAULT).partition(".")
        return f"the fault '{fault}' {'came' if on else 'went'} at {symbol}"
    return f"{name.removeprefix(PANEL)} was turned {'on' if on else 'off'}"
