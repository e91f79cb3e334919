"""Pieces of a plant drawing: pipes, pumps, valves, instruments. Ink only, classes for the rest.

Symbols follow ISA-5.1 for instruments (a circle with the letters above the loop number) and the
usual line symbols of flow sheets for pumps and valves. An element that shows a signal is a group
with ``data-kind`` and ``data-signal``; ``static/plant.css`` draws the class ``on``.
"""

from html import escape

BUBBLE = 19
"""Radius of an instrument's circle."""

GLYPH = 15
"""Half the size of a pump or a valve."""


class Pen:
    """Collects SVG."""

    def __init__(self) -> None:
        self._parts: list[str] = []

    def svg(self) -> str:
        """Return what has been drawn."""
        return "".join(self._parts)

    def raw(self, svg: str) -> None:
        """Finished SVG."""
        self._parts.append(svg)

    def path(self, d: str, name: str) -> None:
        """Draw a path of the class ``name``."""
        self.raw(f'<path class="{name}" d="{d}"/>')

    def line(self, x1: float, y1: float, x2: float, y2: float, name: str = "ink") -> None:
        """Draw a straight line."""
        self.path(f"M{x1:g} {y1:g}L{x2:g} {y2:g}", name)

    def rect(self, x: float, y: float, width: float, height: float, name: str, **more: str) -> None:
        """Draw a rectangle; ``more`` are attributes."""
        extra = "".join(f' {key.replace("_", "-")}="{escape(v)}"' for key, v in more.items())
        self.raw(
            f'<rect class="{name}" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
            f"{extra}/>"
        )

    def circle(self, x: float, y: float, radius: float, name: str = "ink") -> None:
        """Draw a circle."""
        self.raw(f'<circle class="{name}" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>')

    def text(
        self, x: float, y: float, content: str, name: str = "note", anchor: str = "middle"
    ) -> None:
        """Draw a line of text; nothing for an empty one."""
        if content:
            self.raw(
                f'<text class="{name}" x="{x:g}" y="{y:g}" text-anchor="{anchor}">'
                f"{escape(content)}</text>"
            )

    def value(self, x: float, y: float, signal: str, shown: str, **data: str | float) -> None:
        """Draw a present value as text, kept up to date by the page."""
        self.raw(
            f'<text class="value" x="{x:g}" y="{y:g}" text-anchor="middle" '
            f"{_data('value', signal, data)}>{escape(shown)}</text>"
        )

    def open(self, kind: str, signal: str, on: bool = False, **data: str | float) -> None:
        """Begin a group that shows a signal."""
        name = f"{kind} on" if on else kind
        self.raw(f'<g class="{name}" {_data(kind, signal, data)}>')

    def close(self) -> None:
        """End the group."""
        self.raw("</g>")

    # -- symbols ------------------------------------------------------------------------------

    def bubble(self, x: float, y: float, tag: str) -> None:
        """Draw an instrument: its letters above its loop number (ISA-5.1)."""
        letters, _, number = tag.partition("-")
        self.circle(x, y, BUBBLE, "ink paper")
        self.text(x, y - 1, letters, "tag")
        self.text(x, y + 12, number, "tag")

    def pump(self, x: float, y: float, way: int) -> None:
        """Draw a pump that delivers to the right (``way`` 1) or to the left (-1)."""
        self.circle(x, y, GLYPH, "ink paper outline")
        tip, back = x + way * GLYPH, x - way * 7.5
        self.path(f"M{back:g} {y - 13:g}L{tip:g} {y:g}L{back:g} {y + 13:g}", "ink mark")

    def valve(self, x: float, y: float, by_hand: bool) -> None:
        """Draw a valve, with a solenoid on its stem or a handle."""
        left, right = x - GLYPH, x + GLYPH
        self.path(
            f"M{left:g} {y - 9:g}L{right:g} {y + 9:g}V{y - 9:g}L{left:g} {y + 9:g}Z",
            "ink paper outline mark",
        )
        self.line(x, y, x, y - 16)
        if by_hand:
            self.line(x - 8, y - 16, x + 8, y - 16)
        else:
            self.rect(x - 7, y - 28, 14, 12, "ink paper")
            self.text(x, y - 18.5, "S", "tag small")

    def motor(self, x: float, y: float) -> None:
        """Draw a motor."""
        self.circle(x, y, GLYPH, "ink paper outline mark")
        self.text(x, y + 4.5, "M", "tag inside")

    def arrow(self, x: float, y: float, way: str, name: str = "ink solid") -> None:
        """Draw the head of an arrow with its tip at (x, y): right, left, up or down."""
        dx, dy = {"right": (-9, 4), "left": (9, 4), "down": (4, -9), "up": (4, 9)}[way]
        if way in ("right", "left"):
            self.path(f"M{x:g} {y:g}l{dx} {-dy}v{2 * dy}z", name)
        else:
            self.path(f"M{x:g} {y:g}l{-dx} {dy}h{2 * dx}z", name)

    def lamp(self, x: float, y: float) -> None:
        """Draw a lamp (IEC 60617: a circle with a cross), with rays while it is lit."""
        self.circle(x, y, 12, "ink paper outline mark")
        self.path(f"M{x - 8.5:g} {y - 8.5:g}l17 17m0 -17l-17 17", "ink cross")
        rays = "".join(
            f"M{x + 16 * cx:g} {y + 16 * cy:g}L{x + 21 * cx:g} {y + 21 * cy:g}"
            for cx, cy in ((0, -1), (1, 0), (0, 1), (-1, 0), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7),
                           (-0.7, -0.7))
        )  # fmt: skip
        self.path(rays, "ink rays")


def _data(kind: str, signal: str, data: dict[str, str | float]) -> str:
    more = {"kind": kind, "signal": signal, **data}
    return " ".join(
        f'data-{key.replace("_", "-")}="{escape(f"{v:g}" if isinstance(v, float) else str(v))}"'
        for key, v in more.items()
    )
