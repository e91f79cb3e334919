"""Several runs of one figure."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True, slots=True)
class Spread:
    """Least, median and most of the runs."""

    least: float
    median: float
    most: float

    def __str__(self) -> str:
        return f"{self.median:.2f} ({self.least:.2f} to {self.most:.2f})"


def spread(runs: Sequence[float]) -> Spread:
    """Return the spread of at least one run."""
    return Spread(min(runs), median(runs), max(runs))
