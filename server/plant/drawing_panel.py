"""The operator's panel as a strip below a plant: what a person works or looks at."""

from server.ladder.points import PointDeclaration
from server.plant.devices import kind_of
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


def _device(points: Points, pen: Pen, x: float, y: float, point: PointDeclaration) -> None:
    if kind_of(point).by_hand:
        pen.open("hand", f"panel.{point.symbol}", device=point.description)
        _actuator(pen, x, y, point.description)
        pen.close()
        points.contact(pen, x - 15, y + 64, point, actuated=False)
    else:
        pen.open("lamp", f"{point.symbol}.on", device=point.description)
        pen.lamp(x, y)
        pen.close()
    pen.text(x, y - 22, point.device, "tag")
    pen.text(x, y + 32, point.label, "label")
    pen.text(x, y + 48, point.symbol, "symbol")


def _on_the_panel(points: Points) -> list[PointDeclaration]:
    """Buttons and switches, then lamps and horns."""
    worked = [p for p in points.all if kind_of(p).by_hand]
    shown = [p for p in points.all if p.description in ("lamp", "horn", "number display")]
    return worked + shown


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
