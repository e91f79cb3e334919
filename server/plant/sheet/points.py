"""What the table of points adds to a drawing: symbols, and contacts as they are at rest."""

from collections.abc import Iterable
from dataclasses import dataclass

from server.ladder.elements import ContactKind
from server.ladder.points import Direction, PointDeclaration
from server.plant.sheet.pen import Pen


class Points:
    """The points of an exercise by device and symbol."""

    def __init__(self, points: Iterable[PointDeclaration]) -> None:
        self.all = tuple(points)
        self._by_tag = {p.device: p for p in self.all if p.direction is Direction.INPUT}

    @property
    def symbols(self) -> dict[str, str]:
        """Symbols of input points by their device's tag."""
        return {tag: point.symbol for tag, point in self._by_tag.items()}

    def sensor(self, pen: Pen, x: float, y: float, tag: str, where: str) -> None:
        """Draw a device's symbol and contact, right of its bubble; nothing without a point."""
        point = self._by_tag.get(tag)
        if point is None:
            pen.text(x, y + 4, where, "note", "start")
            return
        pen.text(x, y - 5, point.symbol, "symbol", "start")
        self.contact(pen, x, y + 9, point, actuated=False)
        pen.text(x + 36, y + 13, where, "note", "start")

    def number(self, pen: Pen, x: float, y: float, tag: str) -> None:
        """Draw a transmitter's number."""
        point = self._by_tag.get(tag)
        if point is not None:
            pen.value(x, y, point.symbol, "", digits=0)

    def contact(self, pen: Pen, x: float, y: float, point: PointDeclaration, *,
                actuated: bool) -> None:  # fmt: skip
        """Draw a small contact, closed while the point is on, as it stands at rest."""
        closed = (point.wiring is ContactKind.CLOSED) is not actuated
        pen.open("point", point.symbol, closed)
        pen.line(x, y, x + 8, y)
        pen.line(x + 22, y, x + 30, y)
        pen.line(x + 8, y, x + 21, y - 8, "ink broken")
        pen.line(x + 8, y, x + 22, y, "ink made")
        pen.close()

    def signal_of(self, symbol: str) -> str:
        """Return the signal of what works a part: an actuator, or a position switch's point."""
        return self.symbols.get(symbol, f"{symbol}.on")


@dataclass(frozen=True, slots=True)
class Working:
    """What shows whether a part is working: a signal, and whether it is on at the start."""

    signal: str
    on: bool

    def open(self, pen: Pen, kind: str) -> None:
        """Begin a group that shows it."""
        pen.open(kind, self.signal, self.on)
