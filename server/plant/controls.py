"""What a person may do to a plant by hand, beside the program: switch, set a quantity, lay items.

Each part of a plant lists its own controls; the trial run allows them and its page shows them.
"""

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class HandSwitch:
    """A control without a point, as ``panel.<name>``: it stays as it is set.

    ``on`` and ``off`` are what its two positions are called. ``acts`` are what happened when it
    is turned on and off, as the end of a sentence; without them its name was turned on or off.
    """

    name: str
    label: str
    tag: str = ""
    on_at_start: bool = False
    on: str = "on"
    off: str = "off"
    acts: tuple[str, str] = ("", "")

    @property
    def signal(self) -> str:
        """The plane that it works."""
        return f"panel.{self.name}"


@dataclass(frozen=True, slots=True)
class HandSetting:
    """A quantity that may be set between 0 and ``high``, in the core's unit.

    People write it in whole ``unit``, of which ``scale`` make one of the core's. ``noun`` is what
    kind of quantity it is (level), ``label`` which one (level of the apple wash sump).
    """

    quantity: str
    noun: str
    label: str
    high: float
    scale: float
    unit: str


@dataclass(frozen=True, slots=True)
class HandItems:
    """Items may be laid down on a line and taken off it; lengths in m.

    ``mark`` is what a marked item is, empty where items have no marks.
    """

    line: str
    item: str
    mark: str
    item_length: float
    length: float


HandControl: TypeAlias = HandSwitch | HandSetting | HandItems
