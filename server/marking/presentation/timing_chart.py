"""The timing chart of a verdict as SVG, laid out like the lanes of a data sheet.

Times are told from the moment of the failure. Looks come from classes alone (static/chart.css), so
that the chart follows the page's theme and prints.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from math import floor, log10

from server.marking.verdict import Evidence, Lane

WIDTH = 760
NAMES = 168
"""Width of the column of names, in the same units as WIDTH."""

TOP, AXIS = 30, 34
BIT_HEIGHT, QUANTITY_HEIGHT = 32, 68
RIGHT = 12


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One lane in words: what it is at the beginning, and each change with its time."""

    name: str
    first: str
    changes: tuple[str, ...]


def draw_chart(evidence: Evidence, name: str) -> str:
    """Return the chart as one ``<svg>``; ``name`` says what failed and is unique on its page."""
    return "".join(_Chart(evidence, name).parts())


def chart_rows(evidence: Evidence) -> tuple[ChartRow, ...]:
    """Return the same as a table, for whoever does not see the chart."""
    rows = []
    for lane in evidence.lanes:
        words = [_value(lane, value) for value in lane.values]
        changes = zip(words[1:], lane.times_ms[1:], strict=True)
        rows.append(
            ChartRow(
                lane.name,
                words[0] if words else "",
                tuple(f"{word} at {moment(time - evidence.at_ms)}" for word, time in changes),
            )
        )
    return tuple(rows)


def moment(ms: int) -> str:
    """Return a time before (−) or after (+) the failure: ``−0.52 s``."""
    sign = "−" if ms < 0 else "+" if ms > 0 else ""
    return f"{sign}{abs(ms) / 1000:.2f} s"


def _value(lane: Lane, value: float) -> str:
    if not lane.unit:
        return "ON" if value else "OFF"
    return f"{_short(value)} {lane.unit}"


def _short(value: float) -> str:
    return f"{value:.4g}"


class _Chart:
    def __init__(self, evidence: Evidence, name: str) -> None:
        self._evidence = evidence
        self._name = name
        self._span = max(1, evidence.to_ms - evidence.from_ms)
        self._heights = [QUANTITY_HEIGHT if lane.unit else BIT_HEIGHT for lane in evidence.lanes]
        self._floor = TOP + sum(self._heights)

    def parts(self) -> Iterator[str]:
        evidence, base = self._evidence, escape(self._name.replace(" ", "-"))
        height = self._floor + AXIS
        yield (
            f'<svg class="timing-chart" viewBox="0 0 {WIDTH} {height}" role="img" '
            f'aria-labelledby="{base}-title {base}-desc">'
            f'<title id="{base}-title">Timing chart: {escape(self._name)}</title>'
            f'<desc id="{base}-desc">{escape(self._description())}</desc>'
        )
        yield from self._band()
        yield from self._axis()
        top = TOP
        for lane, lane_height in zip(evidence.lanes, self._heights, strict=True):
            yield from self._lane(lane, top, lane_height)
            top += lane_height
        x = _n(self._x(evidence.at_ms))
        yield (
            f'<g class="failure"><path d="M{x} {TOP - 6}V{self._floor}"/>'
            f'<text x="{x}" y="{TOP - 12}" dx="4">failure</text></g></svg>'
        )

    def _description(self) -> str:
        evidence = self._evidence
        names = ", ".join(lane.name for lane in evidence.lanes)
        before = (evidence.at_ms - evidence.from_ms) / 1000
        after = (evidence.to_ms - evidence.at_ms) / 1000
        words = f"{names} from {before:.2f} s before the failure to {after:.2f} s after it."
        if evidence.asked_ms is not None and evidence.allowed_ms is not None:
            asked = moment(evidence.asked_ms - evidence.at_ms)
            words += f" Asked for at {asked}; {evidence.allowed_ms / 1000:.2f} s is allowed."
        return f"{words} The table below has every change."

    def _x(self, ms: float) -> float:
        inside = min(max(ms, self._evidence.from_ms), self._evidence.to_ms)
        part = (inside - self._evidence.from_ms) / self._span
        return NAMES + part * (WIDTH - NAMES - RIGHT)

    def _band(self) -> Iterator[str]:
        asked, allowed = self._evidence.asked_ms, self._evidence.allowed_ms
        if asked is None or allowed is None:
            return
        left, right = self._x(asked), self._x(asked + allowed)
        yield (
            f'<g class="allowed"><rect x="{_n(left)}" y="{TOP}" width="{_n(right - left)}" '
            f'height="{self._floor - TOP}"/>'
            f'<path d="M{_n(left)} {TOP}V{self._floor}M{_n(right)} {TOP}V{self._floor}"/>'
            f'<text x="{_n(left)}" y="{TOP - 12}" dx="-4" text-anchor="end">'
            f"{allowed / 1000:.2f} s allowed</text></g>"
        )

    def _axis(self) -> Iterator[str]:
        evidence = self._evidence
        step = _tick_step(self._span)
        first = -((evidence.at_ms - evidence.from_ms) // step) * step
        ticks = range(first, evidence.to_ms - evidence.at_ms + 1, step)
        path = "".join(f"M{_n(self._x(evidence.at_ms + t))} {self._floor}v5" for t in ticks)
        yield f'<g class="axis"><path d="M{NAMES} {self._floor}H{WIDTH - RIGHT}{path}"/>'
        for tick in ticks:
            label = f"{'−' if tick < 0 else '+' if tick > 0 else ''}{abs(tick) / 1000:g}"
            x = _n(self._x(evidence.at_ms + tick))
            yield f'<text x="{x}" y="{self._floor + 20}" text-anchor="middle">{label}</text>'
        yield f'<text x="0" y="{self._floor + 20}">s from the failure</text></g>'

    def _lane(self, lane: Lane, top: int, height: int) -> Iterator[str]:
        middle = top + height / 2 + 4
        yield (
            f'<g class="lane {"quantity" if lane.unit else "bit"}">'
            f'<path class="rule" d="M0 {top + height}H{WIDTH - RIGHT}"/>'
            f'<text class="name" x="0" y="{_n(middle)}">{escape(_cut(lane.name))}</text>'
        )
        if lane.values:
            yield from self._curve(lane, top, height) if lane.unit else self._steps(lane, top)
        yield "</g>"

    def _steps(self, lane: Lane, top: int) -> Iterator[str]:
        high, low = top + 8, top + BIT_HEIGHT - 6
        ys = [high if value else low for value in lane.values]
        path = f"M{_n(self._x(lane.times_ms[0]))} {ys[0]}"
        for time, y in zip(lane.times_ms[1:], ys[1:], strict=True):
            path += f"H{_n(self._x(time))}V{y}"
        yield f'<path class="trace" d="{path}H{_n(self._x(self._evidence.to_ms))}"/>'

    def _curve(self, lane: Lane, top: int, height: int) -> Iterator[str]:
        lowest, highest = min(lane.values), max(lane.values)
        span = highest - lowest or 1.0
        bottom, room = top + height - 10, height - 20
        points = [
            f"{_n(self._x(time))} {_n(bottom - (value - lowest) / span * room)}"
            for time, value in zip(lane.times_ms, lane.values, strict=True)
        ]
        end = _n(self._x(self._evidence.to_ms))
        yield f'<path class="trace" d="M{"L".join(points)}H{end}"/>'
        unit = escape(lane.unit)
        label = f'<text class="scale" x="{NAMES - 8}" text-anchor="end"'
        if highest > lowest:
            yield f'{label} y="{top + 14}">{_short(highest)} {unit}</text>'
        yield f'{label} y="{bottom + 4}">{_short(lowest)} {unit}</text>'


def _tick_step(span_ms: int) -> int:
    """Return a round distance that gives five to twelve ticks: 1, 2 or 5 times a power of ten."""
    size: int = 10 ** floor(log10(max(span_ms / 5, 1)))
    return next((n * size for n in (5, 2) if n * size * 5 <= span_ms), size)


def _cut(name: str, length: int = 20) -> str:
    return name if len(name) <= length else f"{name[: length - 1]}…"


def _n(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")
