"""Conveyor plants as seen from above: belts from left to right, devices on both sides."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from server.plant.drawing_pen import BUBBLE, Pen
from server.plant.drawing_points import Points
from server.plant.model import Belt, ConveyorPlant, Pusher, Stop

LEFT, LENGTH, RIGHT = 96, 700, 130
"""Before the belts, the belts themselves, behind them."""
HALF, HALF_ITEM = 34, 22
"""Half the width of a belt and of an item."""
ROW, ROOM = 62, 150
"""From row to row of devices, and how much of a row each takes."""


@dataclass(frozen=True, slots=True)
class _Device:
    """Something beside the belts: where it is, what is drawn at its bubble, how it reaches them."""

    at: float
    draw: Callable[[float, float], None]
    row: int = 0


@dataclass(slots=True)
class ConveyorDrawing:
    """Draws into ``pen`` from y = 0; ``items`` are front edges in m and marks."""

    plant: ConveyorPlant
    points: Points
    pen: Pen
    items: tuple[tuple[float, bool], ...] = ()
    width: float = LEFT + LENGTH + RIGHT
    height: float = 0.0
    _top: float = 0.0
    _bottom: float = 0.0

    def draw(self) -> None:
        eyes = [self._eye_at(number) for number in range(len(self.plant.eyes))]
        pushers = [self._pusher_at(pusher) for pusher in self.plant.pushers]
        stops = [self._stop_at(stop) for stop in self.plant.stops]
        motors = [self._motor_at(belt) for belt in self.plant.belts]
        chutes = [self._chute_at(pusher) for pusher in self.plant.pushers]
        above = _rows([*eyes, *pushers], self.plant.length)
        below = _rows([*stops, *motors, *chutes], self.plant.length)
        rows_above = max((d.row for d in above), default=-1) + 1
        rows_below = max((d.row for d in below), default=-1) + 1
        self._top = 20 + ROW * rows_above + 44
        self._bottom = self._top + 2 * HALF
        self.height = self._bottom + 60 + ROW * rows_below
        for belt in self.plant.belts:
            self._belt(belt)
        self._ends()
        self._items()
        for device in above:
            device.draw(self._x(device.at), self._top - 62 - ROW * device.row)
        for device in below:
            device.draw(self._x(device.at), self._bottom + 56 + ROW * device.row)

    def _x(self, at: float) -> float:
        return LEFT + LENGTH * at / self.plant.length

    # -- belts and items ----------------------------------------------------------------------

    def _belt(self, belt: Belt) -> None:
        pen, begin = self.pen, self.plant.begin_of(belt)
        x, end = self._x(begin), self._x(begin + belt.length)
        on, signal = self.points.worked(belt.actuator, belt.name, belt.on_at_start)
        pen.open("belt", signal, on)
        pen.rect(x + 1.5, self._top, end - x - 3, 2 * HALF, "ink paper outline", rx="6")
        pen.line(x + 12, self._top, x + 12, self._bottom, "hair")
        pen.line(end - 12, self._top, end - 12, self._bottom, "hair")
        middle = (self._top + self._bottom) / 2
        chevrons = int((end - x - 40) // 56)
        for number in range(chevrons):
            left = x + (end - x) / 2 + 56 * (number - (chevrons - 1) / 2)
            pen.path(f"M{left - 4:g} {middle - 7:g}l7 7l-7 7", "hair mark")
        pen.close()

    def _ends(self) -> None:
        pen, plant, middle = self.pen, self.plant, (self._top + self._bottom) / 2
        start, end = LEFT - 14, LEFT + LENGTH + 14
        if plant.feeder is not None:
            pen.open("flow", "panel.feeder", plant.feeder.on_at_start)
            pen.line(start - 56, middle, start - 6, middle, "pipe")
            pen.arrow(start, middle, "right")
            pen.close()
            pen.text(start - 32, middle - 14, "infeed", "note")
            pen.value(start - 32, middle + 24, f"{plant.name}.fed", "0", digits=0)
        pen.line(end, middle, end + 50, middle, "pipe")
        pen.arrow(end + 56, middle, "right")
        pen.text(end + 28, middle - 14, "passed", "note")
        pen.value(end + 28, middle + 24, f"{plant.name}.passed", "0", digits=0)
        if plant.mark:
            pen.text(end + 28, middle + 44, plant.mark, "note")
            pen.value(end + 28, middle + 62, f"{plant.name}.passed_marked", "0", digits=0)

    def _items(self) -> None:
        pen, plant = self.pen, self.plant
        length = LENGTH * plant.item_length / plant.length
        middle = (self._top + self._bottom) / 2
        for slot in range(plant.slots):
            there = slot < len(self.items)
            front, marked = self.items[slot] if there else (0.0, False)
            signal, mark = f"{plant.name}.item{slot + 1}", f"{plant.name}.mark{slot + 1}"
            hidden = "" if there else ' visibility="hidden"'
            pen.raw(
                f'<g class="{"item marked" if marked else "item"}" data-kind="item" '
                f'data-signal="{signal}" data-mark="{mark}" data-origin="{LEFT}" '
                f'data-scale="{LENGTH / plant.length:g}" '
                f'transform="translate({self._x(front):g} 0)"{hidden}>'
            )
            pen.rect(1 - length, middle - HALF_ITEM, length - 2, 2 * HALF_ITEM, "ink paper", rx="3")
            centre = -length / 2
            pen.path(f"M{centre - 8:g} {middle - 8:g}l16 16m0 -16l-16 16", "ink cross")
            pen.close()

    # -- devices ------------------------------------------------------------------------------

    def _eye_at(self, number: int) -> _Device:
        eye = self.plant.eyes[number]
        beside = sum(other.at == eye.at for other in self.plant.eyes[:number])

        def draw(x: float, y: float) -> None:
            pen, beam, x = self.pen, x + 7 * beside, x - 30 * beside
            pen.path(f"M{x:g} {y + BUBBLE:g}V{self._top - 30:g}L{beam:g} {self._top - 16:g}", "ink")
            pen.rect(beam - 4, self._top - 16, 8, 10, "ink paper")
            pen.rect(beam - 4, self._bottom + 6, 8, 10, "ink paper")
            pen.line(beam, self._top - 6, beam, self._bottom + 6, "beam")
            pen.bubble(x, y, eye.tag)
            where = f"{eye.at:g} m"
            if eye.marked_only:
                where += f", {self.plant.mark or 'marked'} only"
            self.points.sensor(pen, x + BUBBLE + 6, y, eye.tag, where)

        return _Device(eye.at, draw)

    def _pusher_at(self, pusher: Pusher) -> _Device:
        def draw(x: float, y: float) -> None:
            pen, top = self.pen, self._top
            pen.open("pusher", self._signal(pusher))
            pen.line(x, y + BUBBLE, x, top - 40)
            pen.rect(x - 9, top - 40, 18, 26, "ink paper outline")
            pen.path(f"M{x:g} {top - 14:g}v8m-12 0h24", "ink retracted")
            pen.path(f"M{x:g} {top - 14:g}V{self._bottom - 20:g}m-12 0h24", "ink extended")
            pen.close()
            pen.bubble(x, y, pusher.tag)
            self._named(x + BUBBLE + 6, y, pusher.by, f"{pusher.at:g} m")

        return _Device(pusher.at, draw)

    def _chute_at(self, pusher: Pusher) -> _Device:
        def draw(x: float, y: float) -> None:
            pen, length = self.pen, y - self._bottom - 10
            pen.path(f"M{x - 20:g} {self._bottom:g}v{length:g}m40 0v{-length:g}", "ink")
            pen.arrow(x, y - 8, "down")
            self._count(x + 34, y - 8, f"{pusher.name}.pushed", "rejected")
            self._count(x + 34, y + 9, f"{pusher.name}.pushed_marked", self.plant.mark)

        return _Device(pusher.at, draw)

    def _count(self, x: float, y: float, signal: str, words: str) -> None:
        if words:
            self.pen.value(x, y, signal, "0", digits=0)
            self.pen.text(x + 16, y, words, "note", "start")

    def _stop_at(self, stop: Stop) -> _Device:
        def draw(x: float, y: float) -> None:
            pen = self.pen
            pen.open("stop", self._signal(stop), not stop.holds_when, when=int(stop.holds_when))
            pen.line(x, y - BUBBLE, x, self._bottom + 12)
            pen.path(f"M{x:g} {self._bottom + 12:g}V{self._top - 4:g}", "across")
            pen.path(f"M{x:g} {self._bottom + 12:g}v-8", "aside")
            pen.close()
            pen.bubble(x, y, stop.tag)
            self._named(x + BUBBLE + 6, y, stop.by, f"{stop.at:g} m")

        return _Device(stop.at, draw)

    def _motor_at(self, belt: Belt) -> _Device:
        middle = self.plant.begin_of(belt) + min(belt.length / 2, 0.12 * self.plant.length)

        def draw(x: float, y: float) -> None:
            pen = self.pen
            on, signal = self.points.worked(belt.actuator, belt.name, belt.on_at_start)
            pen.open("flow", signal, on)
            pen.line(x, self._bottom, x, y - 15)
            pen.motor(x, y)
            pen.close()
            pen.text(x + 24, y - 5, belt.tag, "tag", "start")
            pen.text(x + 24, y + 12, belt.actuator or belt.label or belt.name, "symbol", "start")

        return _Device(middle, draw)

    def _named(self, x: float, y: float, symbol: str, where: str) -> None:
        self.pen.text(x, y - 5, symbol, "symbol", "start")
        self.pen.text(x, y + 12, where, "note", "start")

    def _signal(self, part: Stop | Pusher) -> str:
        """The signal that works a part: an actuator, or the point of a position switch."""
        return self.points.symbols.get(part.by, f"{part.by}.on")


def _rows(devices: list[_Device], metres: float) -> list[_Device]:
    """Devices in as many rows as they need, none over another; row 0 is next to the belts."""
    room = ROOM * metres / LENGTH
    ends: list[float] = []
    placed = []
    for device in sorted(devices, key=lambda d: d.at):
        row = next((n for n, end in enumerate(ends) if end <= device.at), len(ends))
        ends[row : row + 1] = [device.at + room]
        placed.append(replace(device, row=row))
    return placed
