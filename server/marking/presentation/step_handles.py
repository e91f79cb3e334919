"""Handles above the timeline of a scenario, one for each step, by which it is moved in time.

Each is a slider with the step's moment as its value; a step that waits for a condition, or that
has another's time in it, stays where it is. They stand exactly above the lanes of a drawing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from server.marking.presentation.lane_drawing import NAMES, ROOM, WIDTH

HEIGHT, GRIP = 30, 26
"""Sizes in the drawing's own units; shrunk to a narrow screen a grip is 20 px wide still."""


@dataclass(frozen=True, slots=True)
class Handle:
    """A step at ``at_ms`` that may be moved from ``least_ms`` to ``most_ms``; ``key`` names it."""

    number: int
    words: str
    at_ms: int
    least_ms: int
    most_ms: int
    key: str

    @property
    def fixed(self) -> bool:
        return self.least_ms == self.most_ms


def draw_handles(handles: Sequence[Handle], to_ms: int, title: str) -> str:
    """Return the row of handles; ``data-scale`` is how many ms one unit of the drawing is."""
    scale = max(1, to_ms) / ROOM
    drawn = "".join(_handle(handle, NAMES + handle.at_ms / scale) for handle in handles)
    return (
        f'<svg class="timing-chart small handles" viewBox="0 0 {WIDTH} {HEIGHT}" role="group" '
        f'data-scale="{scale:.6g}" data-width="{WIDTH}" aria-label="{escape(title)}">{drawn}</svg>'
    )


def _handle(handle: Handle, x: float) -> str:
    moment = f"{handle.at_ms / 1000:g} s"
    state = ' aria-disabled="true"' if handle.fixed else ""
    half = GRIP / 2
    return (
        f'<g class="handle" id="handle-{escape(handle.key)}" role="slider" tabindex="0"{state} '
        f'aria-label="{escape(f"Step {handle.number}: {handle.words}")}" '
        f'aria-valuemin="{handle.least_ms}" aria-valuemax="{handle.most_ms}" '
        f'aria-valuenow="{handle.at_ms}" aria-valuetext="{moment}">'
        f'<path class="grip" d="M{x - half:.1f} 1h{GRIP}v17l-{half:g} 10l-{half:g} -10z"/>'
        f'<text x="{x:.1f}" y="15" text-anchor="middle">{handle.number}</text></g>'
    )
