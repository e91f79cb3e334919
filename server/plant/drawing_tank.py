"""Tank plants as lines: vessels in a row, flows in above, flows out below, instruments beside."""

from dataclasses import dataclass, field

from server.plant.drawing_pen import BUBBLE, Pen
from server.plant.drawing_points import Points
from server.plant.model import Drawn, Outlet, Stream, TankPlant, Vessel

FIRST, PITCH = 130, 430
"""Left wall of the first vessel, and from vessel to vessel."""
WIDTH, HEIGHT = 150, 230
"""Of the highest vessel; others are drawn to scale, down to LOWEST."""
LOWEST = 120
ROW = 78
"""From pipe to pipe."""
RISER = 84
"""How far left of its vessel a pipe goes up."""


@dataclass(slots=True)
class _Column:
    """One vessel on the sheet, and how many pipes lead in and out so far."""

    vessel: Vessel
    left: float
    top: float
    bottom: float
    flows_in: int = 0
    flows_out: int = 0

    def y_of(self, level: float) -> float:
        return self.bottom - (self.bottom - self.top) * level / self.vessel.height


@dataclass(slots=True)
class TankDrawing:
    """Draws into ``pen`` from y = 0; ``width`` and ``height`` are known after ``draw``."""

    plant: TankPlant
    points: Points
    pen: Pen
    name: str
    width: float = 0.0
    height: float = 0.0
    _columns: dict[str, _Column] = field(default_factory=dict)

    def draw(self) -> None:
        self._place()
        for column in self._columns.values():
            self._vessel(column)
        parts: tuple[Stream | Outlet, ...] = (*self.plant.streams, *self.plant.outlets)
        for part in parts:
            self._pipe(part)
        for column in self._columns.values():
            self._instruments(column)
        self.width = FIRST + PITCH * len(self._columns) - 110
        rows = max(column.flows_out for column in self._columns.values())
        self.height = max(c.bottom for c in self._columns.values()) + 34 + ROW * rows

    def _place(self) -> None:
        flows_in = {v.name: 0 for v in self.plant.vessels}
        parts: tuple[Stream | Outlet, ...] = (*self.plant.streams, *self.plant.outlets)
        for part in parts:
            if part.target is not None:
                flows_in[part.target] += 1
        bottom = 24 + ROW * max(flows_in.values()) + HEIGHT
        highest = max(v.height for v in self.plant.vessels)
        for number, vessel in enumerate(self.plant.vessels):
            height = max(LOWEST, HEIGHT * vessel.height / highest)
            left = FIRST + PITCH * number
            self._columns[vessel.name] = _Column(vessel, left, bottom - height, bottom)

    def _vessel(self, c: _Column) -> None:
        pen, vessel = self.pen, c.vessel
        signal = f"{vessel.name}.level"
        surface = c.y_of(vessel.start_level)
        pen.open("level", signal, low=0.0, high=vessel.height, bottom=c.bottom, top=c.top)
        pen.rect(
            c.left, surface, WIDTH, c.bottom - surface, "liquid", fill=f"url(#{self.name}-liquid)"
        )
        pen.line(c.left, surface, c.left + WIDTH, surface, "surface")
        pen.close()
        pen.path(f"M{c.left} {c.top:g}V{c.bottom:g}h{WIDTH}V{c.top:g}", "ink wall")
        for number, words in enumerate(_two_lines(vessel.label or vessel.name)):
            pen.text(c.left + WIDTH / 2, c.top + 32 + 16 * number, words, "label")
        shown = f"{vessel.start_level:.2f} m"
        pen.value(c.left + WIDTH / 2, c.bottom - 12, signal, shown, unit="m", digits=2)

    # -- pipes --------------------------------------------------------------------------------

    def _pipe(self, part: Stream | Outlet) -> None:
        source = part.source if isinstance(part, Stream) else part.vessel
        on, signal = self.points.worked(part.actuator, part.name, part.on_at_start)
        self.pen.open("flow", signal, on)
        if source is None:
            assert part.target is not None, "a stream has two different ends"
            self._flow_in(self._columns[part.target], part)
        else:
            self._flow_out(self._columns[source], part)
        self.pen.close()

    def _flow_in(self, c: _Column, part: Stream | Outlet) -> None:
        y, drop = self._next_in(c)
        start = c.left - RISER - 36
        self.pen.line(start, y, drop, y, "pipe")
        self._into(c, drop, y)
        self._symbol(part, c.left - 54, y)
        self.pen.arrow(start + 10, y, "right")

    def _flow_out(self, c: _Column, part: Stream | Outlet) -> None:
        number = c.flows_out
        c.flows_out += 1
        x, y = c.left + WIDTH - 40 - 34 * number, c.bottom + 40 + ROW * number
        end = c.left + WIDTH + 130
        self.pen.path(f"M{x} {c.bottom:g}V{y:g}H{end}", "pipe")
        if part.target is None:
            self.pen.arrow(end + 6, y, "right")
        else:
            target = self._columns[part.target]
            riser = target.left - RISER
            up, drop = self._next_in(target)
            aside = "" if riser > end else f"v{ROW / 2}"
            self.pen.path(f"M{end} {y:g}{aside}H{riser}V{up:g}H{drop}", "pipe")
            self._into(target, drop, up)
        self._symbol(part, c.left + WIDTH + 38, y)

    def _next_in(self, c: _Column) -> tuple[float, float]:
        """The row and the drop of the next pipe into a vessel: higher rows drop further right."""
        number = c.flows_in
        c.flows_in += 1
        bottom = max(column.bottom for column in self._columns.values())
        return bottom - HEIGHT - 34 - ROW * number, c.left + 28 + 34 * number

    def _into(self, c: _Column, drop: float, y: float) -> None:
        self.pen.line(drop, y, drop, c.top + 6, "pipe")
        self.pen.arrow(drop, c.top + 10, "down")

    def _symbol(self, part: Stream | Outlet, x: float, y: float) -> None:
        by_hand = part.actuator is None
        if isinstance(part, Stream) and part.drawn is Drawn.PUMP:
            self.pen.pump(x, y, 1)
            above = y - 22
        else:
            self.pen.valve(x, y, by_hand)
            above = y - (22 if by_hand else 34)
        self.pen.text(x, above, part.tag, "tag")
        self.pen.text(x, y + 30, part.actuator or part.label or part.name, "symbol")

    # -- instruments --------------------------------------------------------------------------

    def _instruments(self, c: _Column) -> None:
        switches = [s for s in self.plant.switches if s.vessel == c.vessel.name]
        wall = c.left + WIDTH
        below = c.bottom + 60
        for switch in sorted(switches, key=lambda s: s.height):
            at = c.y_of(switch.height)
            y = min(at, below - 2 * BUBBLE - 8)
            below = y
            x = wall + 48
            self.pen.path(f"M{wall} {at:g}h12L{x - BUBBLE:g} {y:g}", "ink")
            self.pen.bubble(x, y, switch.tag)
            self.points.sensor(self.pen, x + BUBBLE + 8, y, switch.tag, f"{switch.height:g} m")
        for transmitter in self.plant.transmitters:
            if transmitter.vessel == c.vessel.name:
                x, y = c.left - 40, c.bottom - 30
                self.pen.line(x, y, c.left, y)
                self.pen.bubble(x, y, transmitter.tag)
                self.points.number(self.pen, x, y + BUBBLE + 14, transmitter.tag)


def _two_lines(label: str) -> list[str]:
    """A label in at most two lines, broken near its middle."""
    if len(label) <= 18 or " " not in label:
        return [label]
    spaces = [i for i, character in enumerate(label) if character == " "]
    middle = min(spaces, key=lambda at: max(at, len(label) - at))
    return [label[:middle], label[middle + 1 :]]
