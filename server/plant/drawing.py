"""A plant and its panel as one SVG: ink and classes, nothing that a style sheet can't turn.

What a page can rely on: a group or text with ``data-signal`` shows that signal. ``data-kind`` says
how:

- ``flow``, ``belt``, ``pusher``, ``lamp``, ``hand``, ``point``: the class ``on`` while it is TRUE;
  ``stop``: while it equals ``data-when``.
- ``level``: the rect and the line in it reach from ``data-bottom`` (value ``data-low``) up to
  ``data-top`` (value ``data-high``).
- ``item``, ``axis``: ``translate(origin + scale * value, 0)``; an item that is absent (no number,
  or less than 0) is hidden, and ``data-mark`` gives it the class ``marked``.
- ``value``: the text is the number, with ``data-digits`` decimals and ``data-unit``.
"""

from collections.abc import Iterable
from html import escape

from server.ladder.points import PointDeclaration
from server.plant.description import describe_plant
from server.plant.drawing_axis import draw_axis
from server.plant.drawing_conveyor import ConveyorDrawing
from server.plant.drawing_pen import Pen
from server.plant.drawing_points import Points
from server.plant.drawing_tank import TankDrawing
from server.plant.model import ConveyorPlant, Plant

_EDGE = 12


def draw_plant(
    plant: Plant,
    points: Iterable[PointDeclaration],
    *,
    title: str = "Plant",
    name: str = "plant",
    panel: bool = True,
    items: tuple[tuple[float, bool], ...] = (),
) -> str:
    """The plant as it stands at the start, as an SVG element.

    ``name`` begins the ids, which must differ on one page. ``panel`` adds the operator's devices
    below. ``items`` (front edges in m, marks) lie on a conveyor.
    """
    table = Points(points)
    pen = Pen()
    drawing: TankDrawing | ConveyorDrawing
    if isinstance(plant, ConveyorPlant):
        drawing = ConveyorDrawing(plant, table, pen, items)
    else:
        drawing = TankDrawing(plant, table, pen, name)
    drawing.draw()
    width, height = drawing.width, drawing.height
    for axis in plant.axes:
        switches = tuple(s for s in plant.positions if s.axis == axis.name)
        width = max(width, 760)
        height += draw_axis(pen, table, axis, switches, height + _EDGE) + _EDGE
    if panel:
        height += table.draw_panel(pen, height + _EDGE, width) + _EDGE
    height += _EDGE
    return (
        f'<svg class="plant" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'aria-labelledby="{name}-title {name}-desc" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" fill="none" stroke="currentColor">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(describe_plant(plant, table.symbols))}</desc>'
        f'<defs><pattern id="{name}-liquid" width="14" height="8" patternUnits="userSpaceOnUse">'
        f'<path class="hatch" d="M0 2.5h8M7 6.5h8M-7 6.5h8"/></pattern></defs>'
        f"{pen.svg()}</svg>"
    )
