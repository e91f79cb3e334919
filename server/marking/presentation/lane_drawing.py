"""Signals over time as a small SVG without a failure in it: examples of checks, scenarios.

Classes are those of ``static/chart.css``, as in ``timing_chart``.
"""

from collections.abc import Callable, Sequence
from html import escape

from server.marking.verdict import Lane

WIDTH, NAMES, HEIGHT, TOP, FOOT = 640, 210, 26, 22, 22
ROOM = WIDTH - NAMES - 10


def draw_lanes(
    lanes: Sequence[Lane],
    to_ms: int,
    title: str,
    *,
    marks: Sequence[tuple[int, str]] = (),
    alarm_ms: int | None = None,
) -> str:
    """Lanes from 0 to ``to_ms``; ``marks`` are moments with a word, ``alarm_ms`` is a violation."""
    span = max(1, to_ms)
    floor = TOP + HEIGHT * len(lanes)

    def x(ms: float) -> str:
        return f"{NAMES + ROOM * min(max(ms, 0), span) / span:.1f}".removesuffix(".0")

    parts = [
        f'<svg class="timing-chart small" viewBox="0 0 {WIDTH} {floor + FOOT}" role="img" '
        f'aria-label="{escape(f"{title}. {_told(lanes)}")}">'
    ]
    for moment, word in marks:
        parts.append(
            f'<g class="moment"><path d="M{x(moment)} {TOP - 4}V{floor}"/>'
            f'<text x="{x(moment)}" y="{TOP - 8}" text-anchor="middle">{escape(word)}</text></g>'
        )
    for number, lane in enumerate(lanes):
        parts.append(_lane(lane, TOP + number * HEIGHT, x, span))
    if alarm_ms is not None:
        parts.append(
            f'<g class="failure"><path d="M{x(alarm_ms)} {TOP - 4}V{floor}"/>'
            f'<text x="{x(alarm_ms)}" y="{TOP - 8}" text-anchor="middle">not met</text></g>'
        )
    parts.append(
        f'<g class="axis"><path d="M{NAMES} {floor}H{WIDTH - 10}"/>'
        f'<text x="{NAMES}" y="{floor + 16}">0</text>'
        f'<text x="{WIDTH - 10}" y="{floor + 16}" text-anchor="end">{to_ms / 1000:g} s</text>'
        "</g></svg>"
    )
    return "".join(parts)


def _lane(lane: Lane, top: int, x: Callable[[float], str], span: int) -> str:
    high, low = top + 6, top + HEIGHT - 6
    if lane.unit:
        most, least = max(lane.values), min(lane.values)
        room = (most - least) or 1.0
        ys = [low - (value - least) / room * (low - high) for value in lane.values]
    else:
        ys = [float(high if value else low) for value in lane.values]
    path = f"M{x(lane.times_ms[0])} {ys[0]:.1f}"
    for time, y in zip(lane.times_ms[1:], ys[1:], strict=True):
        path += f"L{x(time)} {y:.1f}" if lane.unit else f"H{x(time)}V{y:.1f}"
    name = lane.name if len(lane.name) <= 26 else f"{lane.name[:25]}…"
    return (
        f'<g class="lane {"quantity" if lane.unit else "bit"}">'
        f'<path class="rule" d="M0 {top + HEIGHT}H{WIDTH - 10}"/>'
        f'<text class="name" x="0" y="{top + HEIGHT / 2 + 4:g}">{escape(name)}</text>'
        f'<path class="trace" d="{path}H{x(span)}"/></g>'
    )


def _told(lanes: Sequence[Lane]) -> str:
    """Return the same in words."""
    told = []
    for lane in lanes:
        if not lane.unit:
            changes = zip(lane.times_ms, lane.values, strict=True)
            steps = ", ".join(f"{'on' if v else 'off'} from {t / 1000:g} s" for t, v in changes)
            told.append(f"{lane.name}: {steps}")
    return "; ".join(told)
