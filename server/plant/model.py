"""Plants as data: what is built, in SI units. The steps are in ``tank`` and ``conveyor``.

A *name* is a lower-case symbol that signals are called by (``sump.level``, ``panel.supply``); a
*tag* follows ISA-5.1 and names what is drawn and what an input point is wired to. ``actuator`` is
the symbol of an output point; a part without one is worked by hand (``panel.<name>``). Wrong
combinations raise ValueError with a sentence for the author.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from math import pi, sqrt
from typing import TypeAlias

from server.ladder.names import symbol_fault

GRAVITY = 9.80665
"""Standard acceleration of gravity in m/s² (ISO 80000-3, from memory)."""

DISCHARGE = 0.62
"""Discharge coefficient of a sharp-edged orifice: 0.97 x 0.64 (Encyclopaedia Britannica, 11th
ed., 'Hydraulics')."""

HYSTERESIS = 0.01
"""How far the level falls below a level switch before it drops out, in m (common practice, no
source)."""

MAX_ITEMS = 24
"""The most items that may find room on a conveyor: each costs time in every scan."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """Upright walls: ``area`` in m², ``height`` and ``start_level`` in m."""

    name: str
    area: float
    height: float
    start_level: float = 0.0
    label: str = ""

    def __post_init__(self) -> None:
        _named(self.name)
        _positive(self.name, area=self.area, height=self.height)
        _require(
            0 <= self.start_level <= self.height,
            f"{self.name}: the start level is outside the vessel. Choose 0 m to {self.height:g} m.",
        )


class Drawn(StrEnum):
    """What a stream is drawn as."""

    PUMP = "pump"
    VALVE = "valve"


@dataclass(frozen=True, slots=True)
class Stream:
    """A steady flow of ``rate`` m³/s between vessels, None being outside; no more than there is."""

    name: str
    tag: str
    rate: float
    source: str | None = None
    target: str | None = None
    actuator: str | None = None
    drawn: Drawn = Drawn.PUMP
    on_at_start: bool = True
    label: str = ""

    def __post_init__(self) -> None:
        _named(self.name)
        _positive(self.name, rate=self.rate)
        _require(
            self.source != self.target,
            f"{self.name}: it leads from {self.source or 'outside'} to the same place. "
            "Name another source or target.",
        )


@dataclass(frozen=True, slots=True)
class Outlet:
    """A hole at the bottom of a vessel, ``diameter`` m: it drains by its head of liquid."""

    name: str
    tag: str
    vessel: str
    diameter: float
    discharge: float = DISCHARGE
    target: str | None = None
    actuator: str | None = None
    on_at_start: bool = True
    label: str = ""

    def __post_init__(self) -> None:
        _named(self.name)
        _positive(self.name, diameter=self.diameter, discharge=self.discharge)
        _require(
            self.vessel != self.target,
            f"{self.name}: it leads back into {self.vessel}. Name another target.",
        )

    @property
    def drain(self) -> float:
        """Cd a sqrt(2g): the outflow in m³/s at a head of 1 m, as the root of the head grows."""
        return self.discharge * pi * self.diameter**2 / 4 * sqrt(2 * GRAVITY)


@dataclass(frozen=True, slots=True)
class LevelSwitch:
    """Covered from ``height`` m upwards, until the level is ``hysteresis`` m below."""

    tag: str
    vessel: str
    height: float
    hysteresis: float = HYSTERESIS


@dataclass(frozen=True, slots=True)
class LevelTransmitter:
    """An INT from 0 at the bottom to 10000 at the top of the vessel."""

    tag: str
    vessel: str


@dataclass(frozen=True, slots=True)
class Axis:
    """A part that is driven between two ends: a lift, a turntable, a pusher, a motor valve.

    It takes ``seconds_forward`` for its whole travel and ``seconds_back`` for the way back;
    without an actuator ``back`` a spring pulls it there. Its position is 0 to 100 per cent.
    """

    name: str
    forward: str
    back: str | None
    seconds_forward: float
    seconds_back: float
    start: float = 0.0
    label: str = ""

    def __post_init__(self) -> None:
        _named(self.name)
        _positive(self.name, seconds_forward=self.seconds_forward, seconds_back=self.seconds_back)
        _require(
            0 <= self.start <= 100, f"{self.name}: the start is outside its travel, 0 to 100 %."
        )


@dataclass(frozen=True, slots=True)
class PositionSwitch:
    """Actuated while the axis is within ``width`` per cent around ``at``."""

    tag: str
    axis: str
    at: float
    width: float = 4.0


@dataclass(frozen=True, slots=True)
class TankPlant:
    """Vessels and what fills, drains and watches them.

    Gravity outlets of one vessel lead to one place. Vessels stand in the order of the flow where
    one drains into another.
    """

    vessels: tuple[Vessel, ...]
    streams: tuple[Stream, ...] = ()
    outlets: tuple[Outlet, ...] = ()
    switches: tuple[LevelSwitch, ...] = ()
    transmitters: tuple[LevelTransmitter, ...] = ()
    axes: tuple[Axis, ...] = ()
    positions: tuple[PositionSwitch, ...] = ()

    def __post_init__(self) -> None:
        _require(bool(self.vessels), "A tank plant has at least one vessel.")
        parts: tuple[Vessel | Stream | Outlet | Axis, ...]
        parts = (*self.vessels, *self.streams, *self.outlets, *self.axes)
        _different("name", (part.name for part in parts))
        tagged: tuple[Stream | Outlet | LevelSwitch | LevelTransmitter | PositionSwitch, ...]
        tagged = (*self.streams, *self.outlets, *self.switches, *self.transmitters, *self.positions)
        _different("tag", (part.tag for part in tagged))
        heights = {v.name: v.height for v in self.vessels}
        for stream in self.streams:
            for end in (stream.source, stream.target):
                _require(end is None or end in heights, f"{stream.name}: no vessel {end}.")
        for outlet in self.outlets:
            for end in (outlet.vessel, outlet.target):
                _require(end is None or end in heights, f"{outlet.name}: no vessel {end}.")
        for name in heights:
            ends = {outlet.target for outlet in self.outlets if outlet.vessel == name}
            _require(len(ends) < 2, f"{name}: its outlets lead to different places.")
        for switch in self.switches:
            _require(switch.vessel in heights, f"{switch.tag}: no vessel {switch.vessel}.")
            height = heights[switch.vessel]
            _require(
                0 < switch.hysteresis < switch.height <= height,
                f"{switch.tag}: it can't switch on and off. Put it above its hysteresis of "
                f"{switch.hysteresis:g} m and not above {height:g} m.",
            )
        for transmitter in self.transmitters:
            _require(
                transmitter.vessel in heights, f"{transmitter.tag}: no vessel {transmitter.vessel}."
            )
        _known_axes(self.positions, self.axes)

    def vessel(self, name: str) -> Vessel:
        """The vessel with this name."""
        return next(v for v in self.vessels if v.name == name)


@dataclass(frozen=True, slots=True)
class Belt:
    """One driven stretch of a conveyor: ``length`` m, ``speed`` m/s, ``run_up`` s to full speed."""

    name: str
    tag: str
    length: float
    speed: float
    actuator: str | None = None
    run_up: float = 0.0
    on_at_start: bool = True
    label: str = ""

    def __post_init__(self) -> None:
        _named(self.name)
        _positive(self.name, length=self.length, speed=self.speed)
        _require(self.run_up >= 0, f"{self.name}: the run-up is negative. Choose 0 s or more.")


@dataclass(frozen=True, slots=True)
class Eye:
    """A photo-eye ``at`` m from the infeed; ``marked_only``: it sees only marked items."""

    tag: str
    at: float
    marked_only: bool = False


@dataclass(frozen=True, slots=True)
class Stop:
    """A gate ``at`` m that holds items before it while ``by`` is ``holds_when``.

    ``by`` is the symbol of an output point, or the tag of a position switch.
    """

    name: str
    tag: str
    at: float
    by: str
    holds_when: bool = True
    label: str = ""


@dataclass(frozen=True, slots=True)
class Pusher:
    """Takes every item that reaches over the place ``at`` m off the conveyor while ``by`` is on."""

    name: str
    tag: str
    at: float
    by: str
    label: str = ""


@dataclass(frozen=True, slots=True)
class Feeder:
    """Lays an item down every ``interval`` s where there is room; every n-th one is marked."""

    interval: float
    marked_every: int = 0
    on_at_start: bool = True

    def __post_init__(self) -> None:
        _positive("The feeder", interval=self.interval)
        _require(self.marked_every >= 0, "The feeder marks every n-th item; n is 0 or more.")


@dataclass(frozen=True, slots=True)
class ConveyorPlant:
    """Belts one behind the other as one line, measured in m from the infeed.

    Items are ``item_length`` m long and keep ``gap`` m when they queue. An item enters with its
    rear edge at 0 and leaves when its rear edge is at the end. ``mark`` says what a marked item
    is (a short fill, say), empty where there are none.
    """

    name: str
    belts: tuple[Belt, ...]
    item_length: float
    gap: float = 0.0
    item: str = "item"
    mark: str = ""
    feeder: Feeder | None = None
    eyes: tuple[Eye, ...] = ()
    stops: tuple[Stop, ...] = ()
    pushers: tuple[Pusher, ...] = ()
    axes: tuple[Axis, ...] = ()
    positions: tuple[PositionSwitch, ...] = ()

    def __post_init__(self) -> None:
        _named(self.name)
        _require(bool(self.belts), "A conveyor has at least one belt.")
        _positive(self.name, item_length=self.item_length)
        _require(self.gap >= 0, f"{self.name}: the gap is negative. Choose 0 m or more.")
        parts: tuple[Belt | Stop | Pusher | Axis, ...]
        parts = (*self.belts, *self.stops, *self.pushers, *self.axes)
        _different("name", (self.name, "feeder", "exit", *(part.name for part in parts)))
        tagged: tuple[Belt | Eye | Stop | Pusher | PositionSwitch, ...]
        tagged = (*self.belts, *self.eyes, *self.stops, *self.pushers, *self.positions)
        _different("tag", (part.tag for part in tagged))
        places: tuple[Eye | Stop | Pusher, ...] = (*self.eyes, *self.stops, *self.pushers)
        for place in places:
            _require(
                0 < place.at <= self.length,
                f"{place.tag}: {place.at:g} m is not on the conveyor. Choose a place up to "
                f"{self.length:g} m.",
            )
        _require(
            self.slots <= MAX_ITEMS,
            f"{self.name}: {self.slots} items find room on it, {MAX_ITEMS} are possible. "
            "Make it shorter, or the items longer.",
        )
        _known_axes(self.positions, self.axes)

    @property
    def length(self) -> float:
        """From the infeed to the end, m."""
        return sum(belt.length for belt in self.belts)

    @property
    def pitch(self) -> float:
        """From item to item in a queue, m."""
        return self.item_length + self.gap

    @property
    def slots(self) -> int:
        """The most items that find room on the line at once."""
        return int(self.length / self.pitch) + 2

    def begin_of(self, belt: Belt) -> float:
        """Where a belt begins, m from the infeed."""
        return sum(b.length for b in self.belts[: self.belts.index(belt)])


Plant: TypeAlias = TankPlant | ConveyorPlant
"""What an exercise's program works on."""


def _require(condition: bool, sentence: str) -> None:
    if not condition:
        raise ValueError(sentence)


def _positive(name: str, **sizes: float) -> None:
    for what, size in sizes.items():
        _require(
            size > 0, f"{name}: the {what.replace('_', ' ')} must be more than zero, not {size:g}."
        )


def _named(name: str) -> None:
    fault = symbol_fault(name)
    _require(fault is None, " ".join(fault or ()))
    _require(name == name.lower(), f"{name} stands for signals. Write it in lower case.")


def _different(what: str, names: Iterable[str]) -> None:
    for name, count in Counter(names).items():
        _require(count == 1, f"The {what} {name} is there {count} times. Choose another one.")


def _known_axes(positions: tuple[PositionSwitch, ...], axes: tuple[Axis, ...]) -> None:
    names = {axis.name for axis in axes}
    for switch in positions:
        _require(switch.axis in names, f"{switch.tag}: no axis {switch.axis}.")
        _require(
            0 <= switch.at <= 100 and switch.width > 0,
            f"{switch.tag}: it is never actuated. Put it at 0 to 100 % with a width above 0 %.",
        )
