"""The operator's panel as a strip below a plant: what a person works or looks at."""

from server.ladder.points import PointDeclaration
from server.plant.devices import LAMP_COLORS, kind_of
from server.plant.sheet.pen import Pen
from server.plant.sheet.points import Points

CELL, ROW = 132, 104
"""Room for one device of the panel."""


def draw_panel(points: Points, pen: Pen, top: float, width: float) -> float:
    """Draw the panel as a strip below the plant; return its height."""
    devices = _on_the_panel(points)
    if not devices:
        return 0.0
    columns = min(len(devices), int((width - 24) // CELL))
    rows = -(-len(devices) // columns)
    height = 34 + ROW * rows
    pen.rect(12, top, CELL * columns, height, "frame")
    pen.text(24, top + 20, "Panel", "note", "start")
    for number, point in enumerate(devices):
        x = 12 + CELL * (number % columns) + CELL / 2
        y = top + 58 + ROW * (number // columns)
        _device(points, pen, x, y, point)
    return height


def describe_panel(points: Points) -> str:
    """Return the panel in a sentence; empty where there is none."""
    devices = [f"{kind_of(p).name} {p.device} ({p.symbol})" for p in _on_the_panel(points)]
    return f"Panel: {', '.join(devices)}." if devices else ""


def _device(points: Points, pen: Pen, x: float, y: float, point: PointDeclaration) -> None:
    if kind_of(point).by_hand:
        pen.open("hand", f"panel.{point.symbol}", device=point.description)
        _actuator(pen, x, y, point.description)
        pen.close()
        points.contact(pen, x - 15, y + 64, point, actuated=False)
    else:
        _shown(pen, x, y, point)
    pen.text(x, y - 22, point.device, "tag")
    pen.text(x, y + 32, point.label, "label")
    pen.text(x, y + 48, point.symbol, "symbol")


def _on_the_panel(points: Points) -> list[PointDeclaration]:
    """Buttons and switches, then lamps, horns and displays."""
    devices = [p for p in points.all if kind_of(p).on_panel]
    return sorted(devices, key=lambda p: not kind_of(p).by_hand)


def _shown(pen: Pen, x: float, y: float, point: PointDeclaration) -> None:
    """Draw what a person looks at."""
    kind = kind_of(point)
    if kind.places:
        _segments(pen, x, y, point.symbol, kind.places)
    elif kind.number:
        pen.rect(x - 34, y - 14, 68, 26, "ink paper")
        pen.value(x, y + 4, point.symbol, "", digits=0)
    else:
        pen.open("lamp", f"{point.symbol}.on", device=kind.name, color=kind.color)
        pen.lamp(x, y)
        pen.text(x + 24, y + 5, LAMP_COLORS.get(kind.color, ""), "note", "start")
        pen.close()


_SEGMENTS = (
    ("02356789", "M1 0h12"),
    ("01234789", "M14 1v10"),
    ("013456789", "M14 13v10"),
    ("0235689", "M1 24h12"),
    ("0268", "M0 13v10"),
    ("045689", "M0 1v10"),
    ("2345689-", "M1 12h12"),
)
"""For each segment of a digit what it is lit for, and where it lies."""


def _segments(pen: Pen, x: float, y: float, symbol: str, places: int) -> None:
    """Draw digits of seven segments each, dark; the page lights them."""
    width = 22 * places
    pen.rect(x - width / 2, y - 18, width, 36, "ink paper")
    pen.open("display", symbol, places=places)
    for place in range(places):
        left = x - width / 2 + 4 + 22 * place
        for lit, path in _SEGMENTS:
            pen.raw(
                f'<path class="segment" d="{path}" transform="translate({left:g} {y - 12:g})" '
                f'data-digit="{place}" data-lit="{lit}"/>'
            )
    pen.close()


def _actuator(pen: Pen, x: float, y: float, description: str) -> None:
    """Draw what a hand works: a cap to press, a mushroom to strike, a knob to turn."""
    pen.circle(x, y, 14, "ink paper outline")
    if description == "selector switch":
        pen.raw(f'<rect class="ink mark knob" x="{x - 3:g}" y="{y - 14:g}" width="6" height="28"/>')
    elif description == "emergency stop":
        pen.circle(x, y, 11, "ink mark")
        pen.circle(x, y, 5)
    else:
        pen.circle(x, y, 8.5, "ink mark")
