"""What every part of a plant is and does; ``server.plant.parts`` has a file for each kind.

A part is a frozen dataclass in SI units that an exercise file can hold (``fields``). Fields of
these names mean the same in every part: a *name* is a lower-case symbol that signals are called by
(``sump.level``, ``panel.supply``); a *tag* follows ISA-5.1 and names what is drawn and what an
input point is wired to; ``actuator`` is the symbol of an output point, and a part without one is
worked by hand (``panel.<name>``); a *label* is what people read.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar

from pydantic import ConfigDict

from server.plant.controls import HandControl, HandSwitch
from server.plant.device_kind import DeviceKind
from server.plant.fields import PART_CONFIG
from server.plant.part_hooks import PartHooks
from server.plant.parts_view import Parts, Switched
from server.plant.sheet.sheet import PlantSheet


class Part(PartHooks, ABC):
    """One part of a plant; ``PartHooks`` has what it may do beside that."""

    __slots__ = ()
    __pydantic_config__: ClassVar[ConfigDict] = PART_CONFIG

    noun: ClassVar[str]
    """What one is called."""
    senses: ClassVar[DeviceKind | None] = None
    """The device that reads its tag as an input; None for a part that senses nothing."""

    def names(self) -> tuple[str, ...]:
        """Return the names that no other part may have."""
        name = getattr(self, "name", None)
        return (name,) if name else ()

    def tags(self) -> tuple[str, ...]:
        """Return its tag, if it has one."""
        tag = getattr(self, "tag", None)
        return (tag,) if tag else ()

    @abstractmethod
    def controls(self, parts: Parts) -> tuple[HandControl, ...]:
        """Return what a person may do to it by hand; nothing for a part without a hand control."""

    @abstractmethod
    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        """Return a sentence that says what the drawing shows; empty if another part says it.

        ``symbols`` are those of input points by their device's tag.
        """

    @abstractmethod
    def draw(self, sheet: PlantSheet) -> None:
        """Draw it as it stands at the start."""


def hand_switch(part: Switched) -> tuple[HandSwitch, ...]:
    """Return the switch of a part that no output works."""
    if part.actuator is not None:
        return ()
    return (HandSwitch(part.name, part.label, part.tag, part.on_at_start),)


def with_symbol(tag: str, symbols: Mapping[str, str]) -> str:
    """Return a sensor's tag, and after it the symbol that a program reads it by."""
    return f"{tag} ({symbols[tag]})" if tag in symbols else tag
