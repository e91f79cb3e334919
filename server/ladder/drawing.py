"""Rungs as SVG: hairlines, IEC 61131-3's symbols, requirement numbers in the left margin.

What a page can rely on:

- ``<svg class="rung" data-rung="2">`` with title and a desc that tells the whole rung in words.
- ``<g class="element" data-path="2:1.0.0">`` around each element (rung, then path, from 0), and
  ``<g class="output" data-output="2:0">`` around each output; each begins with a transparent
  ``<rect class="cell">`` that takes the pointer and shows selection.
- ``<path class="wire" data-wire="2:0 2:1.0.0">``: the elements of which any one letting power out
  makes the wire live; ``rail`` stands for the left rail. A page marks live wires with the class
  ``live`` and elements that let power out with the class ``closed``, which shows their bead.
- ``<text class="value" data-value="delay.ET">``: an empty place for a present value.

There is no colour and no style here, only classes for ``static/rungs.css`` and attributes that make
a drawing legible without it. A rung is never wrapped: on a screen it scrolls sideways inside its
frame, on paper it is scaled to the page.
"""

import textwrap
from collections.abc import Iterator, Mapping
from html import escape
from typing import NamedTuple

from server.ladder.description import describe_item, describe_output, describe_rung
from server.ladder.drawing_layout import RungLayout, Sources, lay_out
from server.ladder.drawing_symbols import FONT_SIZE, LINE, Symbols, line, text
from server.ladder.program import (
    Block,
    Coil,
    Comparison,
    Contact,
    Element,
    Output,
    Path,
    Program,
    Rung,
)
from server.ladder.text_printer import print_element, print_output

WIDTH = 720
"""From rail to rail, where a rung needs no more."""

_MARGIN = 64
_EDGE = 8
_COMMENT_LINE = 20
_COMMENT_WIDTH = 84
"""Characters in a line of comment."""


def draw_rung(
    rung: Rung,
    program: Program,
    index: int,
    *,
    margin: bool = True,
    width: int = WIDTH,
    name: str = "rung",
    marks: Mapping[Path | int, str] | None = None,
) -> str:
    """Return one rung as an SVG element. ``index`` counts from 0.

    ``margin`` adds number, requirements and comment; a page that sets those itself leaves them
    out. ``name`` begins the ids, which must differ where one page shows a rung twice. ``marks``
    gives elements (by path) and outputs (by number) one more class: ``added``, ``removed``.
    """
    drawing = _draw(rung, program, index, margin, width, marks or {})
    return _svg(rung, program, index, name, drawing)


def draw_operable_rung(rung: Rung, program: Program, *, width: int = WIDTH) -> str:
    """Return one rung to work on: a group in which each element and output is a button.

    A button has its place in the rung (``data-path="1.0.0"``, ``data-output="0"``), its text form
    (``data-text``) and its words. The rung's number and words stand beside it on the page.
    """
    drawn = _draw(rung, program, 0, False, width, {}, operable=True)
    opening = _opening(drawn.width, drawn.height, 'role="group" aria-label="Rung"')
    return f"{opening}{drawn.content}</svg>"


def draw_rungs(program: Program, *, margin: bool = True, width: int = WIDTH) -> list[str]:
    """Return each rung of a program as an SVG element of its own."""
    return [
        draw_rung(rung, program, index, margin=margin, width=width)
        for index, rung in enumerate(program.rungs)
    ]


class _Drawing(NamedTuple):
    width: int
    height: int
    content: str


def _draw(
    rung: Rung,
    program: Program,
    index: int,
    margin: bool,
    width: int,
    marks: Mapping[Path | int, str],
    *,
    operable: bool = False,
) -> _Drawing:
    comment = _comment_lines(rung) if margin else []
    left = _MARGIN if margin else _EDGE
    top = _EDGE + (_COMMENT_LINE * len(comment) + _EDGE if comment else 0)
    symbols = Symbols(program)
    places = _Places(program, None if operable else index)
    layout = lay_out(rung, symbols, left, top, width)
    height = layout.bottom
    if margin:
        height = max(height, top + LINE * (len(rung.serves) + 1))
    parts = [
        *_text_above(comment, left),
        *(_margin(rung, index, top) if margin else []),
        *_rails(layout),
        *_wires(layout, index),
        *_elements(layout, symbols, places, marks),
        *_outputs(layout, symbols, places, marks),
    ]
    return _Drawing(layout.right + _EDGE, height + _EDGE, "".join(parts))


def _svg(rung: Rung, program: Program, index: int, name: str, drawing: _Drawing) -> str:
    label = f"{name}-{index + 1}"
    width, height, content = drawing
    role = f'role="img" data-rung="{index}" aria-labelledby="{label}-title {label}-desc"'
    return (
        f"{_opening(width, height, role)}"
        f'<title id="{label}-title">Rung {index + 1}</title>'
        f'<desc id="{label}-desc">{escape(describe_rung(rung, program))}</desc>'
        f"{content}</svg>"
    )


def _opening(width: int, height: int, role: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rung" {role} '
        f'viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'fill="none" stroke="currentColor" font-family="monospace" font-size="{FONT_SIZE}">'
    )


def _comment_lines(rung: Rung) -> list[str]:
    return [
        part
        for paragraph in rung.comment.splitlines()
        for part in textwrap.wrap(paragraph, _COMMENT_WIDTH) or [""]
    ]


def _text_above(lines: list[str], left: int) -> Iterator[str]:
    for number, part in enumerate(lines):
        yield text(left, _EDGE + 14 + _COMMENT_LINE * number, part, "comment", "start")


def _margin(rung: Rung, index: int, top: int) -> Iterator[str]:
    yield text(_EDGE, top + LINE, str(index + 1), "number", "start")
    for number, requirement in enumerate(rung.serves):
        yield text(_EDGE, top + LINE * (number + 2), requirement, "serves", "start")


def _rails(layout: RungLayout) -> Iterator[str]:
    for x in (layout.left, layout.right):
        yield line(x, layout.top, x, layout.bottom, "rail")


def _wires(layout: RungLayout, rung: int) -> Iterator[str]:
    """Yield one path for all pieces of wire that are live together."""
    together: dict[Sources, str] = {}
    for wire in layout.wires:
        to = f"H{wire.x2}" if wire.y1 == wire.y2 else f"V{wire.y2}"
        pieces = together.get(wire.sources, "")
        together[wire.sources] = f"{pieces}M{wire.x1} {wire.y1}{to}"
    for sources, pieces in together.items():
        yield f'<path class="wire" data-wire="{_sources(rung, sources)}" d="{pieces}"/>'


def _sources(rung: int, sources: Sources) -> str:
    return " ".join("rail" if path is None else _path(rung, path) for path in sources)


def _path(rung: int, path: Path) -> str:
    return f"{rung}:{_dotted(path)}"


def _dotted(path: Path) -> str:
    return ".".join(map(str, path))


class _Places(NamedTuple):
    """The attributes that tell where an element or output is; ``rung`` None makes it a button."""

    program: Program
    rung: int | None

    def element(self, path: Path, element: Element) -> str:
        if self.rung is not None:
            return f'data-path="{_path(self.rung, path)}"'
        words = describe_item(element, self.program)
        return f'data-path="{_dotted(path)}" {_button(print_element(element), words)}'

    def output(self, number: int, output: Output) -> str:
        if self.rung is not None:
            return f'data-output="{self.rung}:{number}"'
        words = describe_output(output, self.program)
        return f'data-output="{number}" {_button(print_output(output), words)}'


def _button(text: str, words: str) -> str:
    return f'data-text="{escape(text)}" role="button" tabindex="-1" aria-label="{escape(words)}"'


def _elements(
    layout: RungLayout, symbols: Symbols, places: _Places, marks: Mapping[Path | int, str]
) -> Iterator[str]:
    for placed in layout.elements:
        classes = f"element {_kind(placed.element)} {marks.get(placed.path, '')}".strip()
        x, y, size = placed.x, placed.y, placed.size
        yield (
            f'<g class="{classes}" {places.element(placed.path, placed.element)}>'
            f"{_cell(x, y - size.up, size.width, size.up + size.down)}"
            f"{symbols.element(placed.element, x, y, size)}</g>"
        )


def _outputs(
    layout: RungLayout, symbols: Symbols, places: _Places, marks: Mapping[Path | int, str]
) -> Iterator[str]:
    for placed in layout.outputs:
        classes = f"output {_kind(placed.output)} {marks.get(placed.number, '')}".strip()
        x, y, size = placed.x, placed.y, placed.size
        yield (
            f'<g class="{classes}" {places.output(placed.number, placed.output)}>'
            f"{_cell(x, y - size.up, size.width, size.up + size.down)}"
            f"{symbols.output(placed.output, x, y, size)}</g>"
        )


def _cell(x: int, y: int, width: int, height: int) -> str:
    return (
        f'<rect class="cell" x="{x}" y="{y}" width="{width}" height="{height}" '
        'stroke="none" pointer-events="all"/>'
    )


def _kind(item: Element | Output) -> str:
    match item:
        case Contact():
            return "contact"
        case Comparison():
            return "comparison"
        case Block():
            return "block"
        case Coil():
            return "coil"
        case _:
            return "assignment"
