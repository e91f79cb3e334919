"""A plant's step as straight-line C, which ``rungmark bench`` measures the kernel against."""

from collections.abc import Callable
from dataclasses import dataclass, field

from server.plant.parts_view import Parts, Switched


@dataclass(slots=True)
class CCode:
    """Lines of C in the order in which they run; each part appends its own.

    ``drive`` adds up flows, ``move`` changes quantities by them, ``sense`` takes the senses.
    ``state`` has type and initial value of every variable that outlives a scan. ``control`` gives
    the C of a panel's control from its name and how it starts. ``period`` is the scan period in s.
    """

    parts: Parts
    period: float
    control: Callable[[str, bool], str]
    state: dict[str, tuple[str, str]] = field(default_factory=dict)
    drive: list[str] = field(default_factory=list)
    move: list[str] = field(default_factory=list)
    sense: list[str] = field(default_factory=list)

    def running(self, part: Switched) -> str:
        """Return the C of whether a part is on."""
        if part.actuator is None:
            return self.control(f"panel.{part.name}", part.on_at_start)
        return f"on_{part.actuator}"


def c_sense(tag: str) -> str:
    """Return the C name of what a sensor shows."""
    return "sense_" + tag.lower().replace("-", "_")


def c_level(vessel: str) -> str:
    """Return the C name of a vessel's level."""
    return f"level_{vessel}"
