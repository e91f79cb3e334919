"""What the table of points adds to a drawing: symbols, contacts as they are at rest, the panel."""

from collections.abc import Iterable

from server.ladder.elements import ContactKind
from server.ladder.points import Direction, PointDeclaration
from server.plant.devices import kind_of
from server.plant.drawing_pen import Pen

CELL, PANEL_ROW = 132, 104
"""Room for one device of the panel."""


class Points:
    """The points of an exercise by device and symbol."""

    def __init__(self, points: Iterable[PointDeclaration]) -> None:
        self._points = tuple(points)
        self._by_tag = {p.device: p for p in self._points if p.direction is Direction.INPUT}

    @property
    def panel(self) -> list[PointDeclaration]:
        """What a person works or looks at: buttons and switches, then lamps and horns."""
        worked = [p for p in self._points if kind_of(p).by_hand]
        shown = [p for p in self._points if p.description in ("lamp", "horn", "number display")]
        return worked + shown

    def worked(self, actuator: str | None, name: str, on_at_start: bool) -> tuple[bool, str]:
        """Whether an actuator is on at the start, and the signal that tells."""
        return (on_at_start, f"panel.{name}") if actuator is None else (False, f"{actuator}.on")

    @property
    def symbols(self) -> dict[str, str]:
        """Symbols of input points by their device's tag."""
        return {tag: point.symbol for tag, point in self._by_tag.items()}

    def sensor(self, pen: Pen, x: float, y: float, tag: str, where: str) -> None:
        """A device's symbol and contact, right of its bubble; nothing without a point."""
        point = self._by_tag.get(tag)
        if point is None:
            pen.text(x, y + 4, where, "note", "start")
            return
        pen.text(x, y - 5, point.symbol, "symbol", "start")
        self.contact(pen, x, y + 9, point, actuated=False)
        pen.text(x + 36, y + 13, where, "note", "start")

    def number(self, pen: Pen, x: float, y: float, tag: str) -> None:
        """A transmitter's number."""
        point = self._by_tag.get(tag)
        if point is not None:
            pen.value(x, y, point.symbol, "", digits=0)

    def contact(self, pen: Pen, x: float, y: float, point: PointDeclaration, *,
                actuated: bool) -> None:  # fmt: skip
        """A small contact, closed while the point is on, as it stands at rest."""
        closed = (point.wiring is ContactKind.CLOSED) is not actuated
        pen.open("point", point.symbol, closed)
        pen.line(x, y, x + 8, y)
        pen.line(x + 22, y, x + 30, y)
        pen.line(x + 8, y, x + 21, y - 8, "ink broken")
        pen.line(x + 8, y, x + 22, y, "ink made")
        pen.close()

    def draw_panel(self, pen: Pen, top: float, width: float) -> float:
        """The panel as a strip below the plant; returns its height."""
        devices = self.panel
        if not devices:
            return 0.0
        columns = min(len(devices), int((width - 24) // CELL))
        rows = -(-len(devices) // columns)
        height = 34 + PANEL_ROW * rows
        pen.rect(12, top, CELL * columns, height, "frame")
        pen.text(24, top + 20, "Panel", "note", "start")
        for number, point in enumerate(devices):
            x = 12 + CELL * (number % columns) + CELL / 2
            y = top + 58 + PANEL_ROW * (number // columns)
            self._device(pen, x, y, point)
        return height

    def _device(self, pen: Pen, x: float, y: float, point: PointDeclaration) -> None:
        if kind_of(point).by_hand:
            pen.open("hand", f"panel.{point.symbol}", device=point.description)
            _actuator(pen, x, y, point.description)
            pen.close()
            self.contact(pen, x - 15, y + 64, point, actuated=False)
        else:
            pen.open("lamp", f"{point.symbol}.on", device=point.description)
            pen.lamp(x, y)
            pen.close()
        pen.text(x, y - 22, point.device, "tag")
        pen.text(x, y + 32, point.label, "label")
        pen.text(x, y + 48, point.symbol, "symbol")


def _actuator(pen: Pen, x: float, y: float, description: str) -> None:
    """What a hand works: a cap to press, a mushroom to strike, a knob to turn."""
    pen.circle(x, y, 14, "ink paper outline")
    if description == "selector switch":
        pen.raw(f'<rect class="ink mark knob" x="{x - 3:g}" y="{y - 14:g}" width="6" height="28"/>')
    elif description == "emergency stop":
        pen.circle(x, y, 11, "ink mark")
        pen.circle(x, y, 5)
    else:
        pen.circle(x, y, 8.5, "ink mark")
