"""A plant and its panel as one SVG: ink and classes, nothing that a style sheet can't turn.

What a page can rely on: a group or text with ``data-signal`` shows that signal. ``data-kind`` says
how:

- ``flow``, ``belt``, ``pusher``, ``lamp``, ``hand``, ``point``, ``jam``: the class ``on`` while it
  is TRUE; ``stop``: while it equals ``data-when``.
- ``level``: the rect and the line in it reach from ``data-bottom`` (value ``data-low``) up to
  ``data-top`` (value ``data-high``).
- ``item``, ``axis``: ``translate(origin + scale * value, 0)``; an item that is absent (no number,
  or less than 0) is hidden, and ``data-mark`` gives it the class ``marked``.
- ``display``: a segment is ``on`` where the digit at its ``data-digit`` of ``data-places`` is one
  of its ``data-lit``.
- ``value``: the text is the number, with ``data-digits`` decimals and ``data-unit``.
"""

from collections.abc import Iterable, Mapping
from html import escape

from server.ladder.points import PointDeclaration
from server.plant.drawing_panel import describe_panel, draw_panel
from server.plant.plant import Plant
from server.plant.sheet.pen import Pen
from server.plant.sheet.points import Points
from server.plant.sheet.sheet import EDGE, PlantSheet

PANEL_WIDTH = 760
"""Of a sheet that shows nothing but a panel."""


def describe_plant(plant: Plant, symbols: Mapping[str, str]) -> str:
    """Return the drawing in sentences, for those who do not see it.

    ``symbols`` are those of input points by their device's tag.
    """
    return " ".join(filter(None, (part.describe(plant, symbols) for part in plant.parts)))


def _describe(plant: Plant, table: Points, *, panel: bool) -> str:
    described = describe_plant(plant, table.symbols)
    return f"{described} {describe_panel(table)}".strip() if panel else described


def draw_plant(
    plant: Plant,
    points: Iterable[PointDeclaration],
    *,
    title: str = "Plant",
    name: str = "plant",
    panel: bool = True,
    items: tuple[tuple[float, bool], ...] = (),
) -> str:
    """Return the plant as it stands at the start, as an SVG element.

    ``name`` begins the ids, which must differ on one page. ``panel`` adds the operator's devices
    below. ``items`` (front edges in m, marks) lie on a conveyor.
    """
    table = Points(points)
    pen = Pen()
    sheet = PlantSheet(plant, table, name, items)
    for part in plant.parts:
        part.draw(sheet)
    sheet.finish(pen)
    width, height = sheet.width or PANEL_WIDTH, sheet.height
    if panel:
        height += draw_panel(table, pen, height + EDGE, width) + EDGE
    height += EDGE
    return (
        f'<svg class="plant" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'aria-labelledby="{name}-title {name}-desc" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" fill="none" stroke="currentColor">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(_describe(plant, table, panel=panel))}</desc>'
        f'<defs><pattern id="{name}-liquid" width="14" height="8" patternUnits="userSpaceOnUse">'
        f'<path class="hatch" d="M0 2.5h8M7 6.5h8M-7 6.5h8"/></pattern></defs>'
        f"{pen.svg()}</svg>"
    )
