"""Comparisons of plant quantities with numbers, as boundaries that the plant senses."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from server.ladder.elements import ContactKind, Relation
from server.ladder.program import (
    Comparison,
    Contact,
    Item,
    Name,
    Number,
    Parallel,
    Series,
    walk,
)
from server.marking.expression import Expression
from server.plant.gauge import Gauge
from server.plant.step import PlantStep
from server.scan.assembler import Bit, Signal


@dataclass(frozen=True, slots=True)
class Threshold:
    """A boundary of a quantity: on from ``value``, or only ``beyond`` it, in the file's unit."""

    quantity: str
    beyond: bool
    value: float

    @property
    def name(self) -> str:
        """Its name among a machine's signals; no author can write it."""
        return f"?{self.quantity} {'>' if self.beyond else '>='} {self.value:g}"


@dataclass(slots=True)
class Thresholds:
    """The boundaries of one machine: its plant senses each at a plane of its own."""

    step: PlantStep
    planes: dict[Threshold, int] = field(default_factory=dict)

    def ask(self, expressions: Iterable[Expression]) -> None:
        """Ask the plant for every boundary with which a condition compares a quantity."""
        for threshold in thresholds_in(expressions, self.step.gauges):
            self._ask(threshold)

    def _ask(self, threshold: Threshold) -> None:
        if threshold in self.planes:
            return
        gauge = self.step.gauges[threshold.quantity]
        at = threshold.value / gauge.scale
        self.planes[threshold] = gauge.at_least(
            math.nextafter(at, math.inf) if threshold.beyond else at
        )

    def signals(self) -> dict[str, Signal]:
        """Return the planes by the names under which ``network`` asks for them."""
        return {threshold.name: Bit(plane) for threshold, plane in self.planes.items()}

    def network(self, network: Series) -> Series:
        """Return the network with a contact in place of each comparison of a quantity."""
        return Series(tuple(self._item(item) for item in network.items))

    def _item(self, item: Item) -> Item:
        if isinstance(item, Parallel):
            return Parallel(tuple(self.network(branch) for branch in item.branches))
        threshold = _threshold(item, self.step.gauges) if isinstance(item, Comparison) else None
        if threshold is None:
            return item
        assert isinstance(item, Comparison)
        relation = _relation(item)
        above = relation in (Relation.GE, Relation.GT)
        return Contact(ContactKind.OPEN if above else ContactKind.CLOSED, threshold.name)


def thresholds_in(
    expressions: Iterable[Expression], gauges: Mapping[str, Gauge]
) -> Iterator[Threshold]:
    """Yield the boundaries with which conditions compare quantities, perhaps some of them again."""
    for expression in expressions:
        for _, element in walk(expression.network):
            found = _threshold(element, gauges) if isinstance(element, Comparison) else None
            if found is not None:
                yield found


def _relation(comparison: Comparison) -> Relation:
    """Return the relation as it reads with the number on the right."""
    if isinstance(comparison.left, Number):
        return comparison.relation.mirrored
    return comparison.relation


def _threshold(comparison: Comparison, gauges: Mapping[str, Gauge]) -> Threshold | None:
    """Return the boundary of a comparison of a quantity with a number; None for any other."""
    left, right = comparison.left, comparison.right
    if isinstance(left, Number):
        left, right = right, left
    if not (isinstance(left, Name) and isinstance(right, Number)):
        return None
    name = left.symbol.lower()
    if name not in gauges:
        return None
    beyond = _relation(comparison) in (Relation.GT, Relation.LE)
    return Threshold(name, beyond, float(right.value))
