"""A conveyor as one line of belts: where each begins, how many items find room."""

from dataclasses import dataclass

ROUNDING = 1e-9
"""What thousands of small steps may lose, m: an item leaves or is laid down when it should."""


MARKED = 1
"""The kind of a marked item; good ones have kind 0."""


@dataclass(frozen=True, slots=True)
class Track:
    """Belts one behind the other, measured in m from the infeed.

    Items are ``item_length`` m long and keep ``gap`` m when they queue. An item enters with its
    rear edge at 0 and leaves when its rear edge is at the end. ``belts`` are names and lengths.
    """

    name: str
    item_length: float
    gap: float
    item: str
    mark: str
    belts: tuple[tuple[str, float], ...]

    @property
    def length(self) -> float:
        """From the infeed to the end, m."""
        return sum(length for _, length in self.belts)

    @property
    def pitch(self) -> float:
        """From item to item in a queue, m."""
        return self.item_length + self.gap

    @property
    def room(self) -> float:
        """How far apart fronts must be for an item to be laid down: a pitch, but for rounding."""
        return self.pitch - ROUNDING

    @property
    def slots(self) -> int:
        """The most items that find room on the line at once."""
        return int(self.length / self.pitch) + 2

    def begin_of(self, belt: str) -> float:
        """Return where a belt begins, m from the infeed."""
        names = [name for name, _ in self.belts]
        return sum(length for _, length in self.belts[: names.index(belt)])


@dataclass(frozen=True, slots=True)
class ItemRows:
    """The block of ``slots`` quantity rows from ``base`` on that holds items (``physics``)."""

    track: Track
    base: int
    slots: int
