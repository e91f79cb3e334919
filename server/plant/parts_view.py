"""What a part of a plant can see of the others, without knowing what there is."""

from typing import Protocol, TypeVar

from server.plant.checks import require
from server.plant.track import Track

Kind = TypeVar("Kind")


class Parts(Protocol):
    """A whole plant, as its parts see it."""

    def of(self, kind: type[Kind]) -> tuple[Kind, ...]:
        """Return all parts of one kind, in their order."""

    def label(self, name: str | None) -> str:
        """Return what people call the part with this name, None being outside."""

    @property
    def track(self) -> Track | None:
        """The line on which items travel, None where there is none."""


class Switched(Protocol):
    """A part that an output point or a hand turns on and off."""

    @property
    def name(self) -> str: ...
    @property
    def tag(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def actuator(self) -> str | None: ...
    @property
    def on_at_start(self) -> bool: ...


def track_of(parts: Parts) -> Track:
    """Return the line of a plant that has one."""
    assert parts.track is not None, "Plant.check refuses devices without a line"
    return parts.track


def require_on_track(parts: Parts, tag: str, at: float) -> None:
    """Require a line and a place ``at`` m from its infeed that is on it."""
    require(parts.track is not None, f"{tag}: there is no line that it could watch. Add 'line'.")
    length = track_of(parts).length
    require(
        0 < at <= length,
        f"{tag}: {at:g} m is not on the conveyor. Choose a place up to {length:g} m.",
    )
