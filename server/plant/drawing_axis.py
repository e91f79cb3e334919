"""An axis as a carriage on its rail, with the position switches along it."""

from server.plant.drawing_pen import BUBBLE, Pen
from server.plant.drawing_points import Points
from server.plant.model import Axis, PositionSwitch

LEFT, LENGTH, HEIGHT = 190, 420, 150
RAIL = 46
"""Height of the rail below the top of the drawing."""


def draw_axis(
    pen: Pen, points: Points, axis: Axis, switches: tuple[PositionSwitch, ...], top: float
) -> float:
    """Draw one axis from y = ``top`` on; returns its height."""
    rail = top + RAIL
    pen.text(24, top + 12, axis.label or axis.name, "label", "start")
    pen.line(LEFT - 30, rail, LEFT + LENGTH + 30, rail, "wall")
    pen.path(f"M{LEFT - 30} {rail - 10:g}v20M{LEFT + LENGTH + 30} {rail - 10:g}v20", "wall")
    for switch in sorted(switches, key=lambda s: s.at):
        x, y = LEFT + LENGTH * switch.at / 100, rail + 48
        pen.line(x, rail + 14, x, y - BUBBLE)
        pen.path(f"M{x - 6:g} {rail + 14:g}h12l-6 -9z", "ink paper")
        pen.bubble(x, y, switch.tag)
        points.sensor(pen, x + BUBBLE + 6, y, switch.tag, f"{switch.at:g} %")
    _drive(pen, axis.forward, LEFT + LENGTH + 44, rail, "right")
    if axis.back is not None:
        _drive(pen, axis.back, LEFT - 44, rail, "left")
    else:
        pen.path(f"M{LEFT - 110} {rail:g}h8l5 -9l10 18l10 -18l10 18l10 -18l5 9h8", "ink")
    pen.raw(
        f'<g class="carriage" data-kind="axis" data-signal="{axis.name}.position" '
        f'data-origin="{LEFT}" data-scale="{LENGTH / 100:g}" '
        f'transform="translate({LEFT + LENGTH * axis.start / 100:g} 0)">'
    )
    pen.rect(-22, rail - 16, 44, 26, "ink paper outline", rx="3")
    pen.close()
    return HEIGHT


def _drive(pen: Pen, symbol: str, x: float, y: float, way: str) -> None:
    end = x + (60 if way == "right" else -60)
    pen.open("flow", f"{symbol}.on")
    pen.line(x, y, end, y, "pipe")
    pen.arrow(end + (6 if way == "right" else -6), y, way)
    pen.close()
    pen.text((x + end) / 2, y - 14, symbol, "symbol")
