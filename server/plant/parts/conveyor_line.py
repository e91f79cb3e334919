"""A conveyor line: the items that travel on its belts, from the infeed to the exit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from server.plant.checks import require, require_name, require_positive
from server.plant.controls import HandControl, HandItems, HandSwitch
from server.plant.fields import Length, Line
from server.plant.part import Part
from server.plant.parts.belt import Belt
from server.plant.parts.eye import Eye
from server.plant.parts.feeder import CONTROL as FEEDER
from server.plant.parts.feeder import Feeder
from server.plant.parts.pusher import Pusher
from server.plant.parts_view import Parts, track_of
from server.plant.physics import ABSENT, PhysicsOp
from server.plant.regions import Regions, Removal
from server.plant.sheet.line import HALF_ITEM, LEFT, LENGTH, LineArea
from server.plant.sheet.sheet import PlantSheet
from server.plant.site import Site
from server.plant.track import ROUNDING, ItemRows
from server.scan.assembler import Bit, Quantity
from server.scan.instructions import FALSE

MAX_ITEMS = 24
"""The most items that may find room on a conveyor: each costs time in every scan."""

EXIT = "exit_blocked"


@dataclass(frozen=True, slots=True)
class ConveyorLine(Part):
    """What travels on all belts of a plant, one behind the other, as on one line.

    Items are ``item_length`` m long and keep ``gap`` m when they queue. ``item`` is what one is
    called, ``mark`` what a marked one is (a short fill, say), empty where there are none.
    """

    noun = "line"

    name: Line
    item_length: Length
    gap: Length = 0.0
    item: Line = "item"
    mark: str = ""

    def __post_init__(self) -> None:
        require_name(self.name)
        require_positive(self.name, item_length=self.item_length)
        require(self.gap >= 0, f"{self.name}: the gap is negative. Choose 0 m or more.")

    def names(self) -> tuple[str, ...]:
        return (self.name, "feeder", "exit")

    def check(self, parts: Parts) -> None:
        track = track_of(parts)
        require(bool(track.belts), "A conveyor has at least one belt.")
        require(
            track.slots <= MAX_ITEMS,
            f"{self.name}: {track.slots} items find room on it, {MAX_ITEMS} are possible. "
            "Make it shorter, or the items longer.",
        )

    def controls(self, parts: Parts) -> tuple[HandControl, ...]:
        length = track_of(parts).length
        return (
            HandSwitch(EXIT, "Exit", on="blocked", off="free"),
            HandItems(self.name, self.item, self.mark, self.item_length, length),
        )

    @property
    def passed(self) -> tuple[str, str]:
        """The signals that count good and marked items that left at the exit."""
        return f"{self.name}.passed", f"{self.name}.passed_marked"

    # -- what people see ----------------------------------------------------------------------

    def describe(self, parts: Parts, symbols: Mapping[str, str]) -> str:
        return f"Each {self.item} is {self.item_length:g} m long."

    def draw(self, sheet: PlantSheet) -> None:
        sheet.line.add_on_belts(partial(self._draw_exit, sheet.line))
        sheet.line.add_on_belts(partial(self._draw_items, sheet.line, sheet.items))

    def _draw_exit(self, area: LineArea) -> None:
        pen, middle, end = area.pen, area.middle, LEFT + LENGTH + 14
        good, marked = self.passed
        pen.line(end, middle, end + 50, middle, "pipe")
        pen.arrow(end + 56, middle, "right")
        pen.text(end + 28, middle - 14, "passed", "note")
        pen.value(end + 28, middle + 24, good, "0", digits=0)
        if self.mark:
            pen.text(end + 28, middle + 44, self.mark, "note")
            pen.value(end + 28, middle + 62, marked, "0", digits=0)

    def _draw_items(self, area: LineArea, items: Sequence[tuple[float, bool]]) -> None:
        pen, middle = area.pen, area.middle
        scale = LENGTH / area.track.length
        length = LENGTH * self.item_length / area.track.length
        for slot in range(area.track.slots):
            there = slot < len(items)
            front, marked = items[slot] if there else (0.0, False)
            signal, mark = f"{self.name}.item{slot + 1}", f"{self.name}.mark{slot + 1}"
            hidden = "" if there else ' visibility="hidden"'
            pen.raw(
                f'<g class="{"item marked" if marked else "item"}" data-kind="item" '
                f'data-signal="{signal}" data-mark="{mark}" data-origin="{LEFT}" '
                f'data-scale="{scale:g}" '
                f'transform="translate({area.x_of(front):g} 0)"{hidden}>'
            )
            pen.rect(1 - length, middle - HALF_ITEM, length - 2, 2 * HALF_ITEM, "ink paper", rx="3")
            center = -length / 2
            pen.path(f"M{center - 8:g} {middle - 8:g}l16 16m0 -16l-16 16", "ink cross")
            pen.close()

    # -- the concrete step --------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        self._check_speed(site)
        if not site.abstract:
            site.items = self._item_rows(site)
        for count in (f"{self.name}.fed", *self.passed):
            site.count(count)
        if site.abstract:
            regions = Regions(track_of(site.parts), site.parts.of(Eye), site.asm, self._reach(site))
            site.keep(self, regions)
            site.senses |= {tag: Bit(plane) for tag, plane in regions.eyes.items()}

    def _item_rows(self, site: Site) -> ItemRows:
        """Make the rows, without an item; positions and marks are signals for the drawing."""
        track = track_of(site.parts)
        rows = [site.asm.quantity(ABSENT) for _ in range(3 * track.slots)]
        site.asm.quantity()
        for slot in range(track.slots):
            site.asm.define(f"{self.name}.item{slot + 1}", Quantity(rows[slot], "m"))
            site.asm.define(f"{self.name}.mark{slot + 1}", Quantity(rows[track.slots + slot]))
        return ItemRows(track, rows[0], track.slots)

    def drive(self, site: Site) -> None:
        end = site.asm.parameter(f"{self.name}.end", track_of(site.parts).length)
        site.asm.emit_physics(PhysicsOp.HOLD, *site.item_rows, site.hand(EXIT), end)

    def move(self, site: Site) -> None:
        pitch = site.asm.parameter(f"{self.name}.pitch", track_of(site.parts).pitch)
        site.asm.emit_physics(PhysicsOp.SETTLE, *site.item_rows, pitch)

    def exchange(self, site: Site) -> None:
        rear_at_end = track_of(site.parts).length + self.item_length - ROUNDING
        gone = site.asm.parameter(f"{self.name}.gone", rear_at_end)
        good, marked = map(site.row, self.passed)
        site.asm.emit_physics(PhysicsOp.LEAVE, *site.item_rows, gone, good, marked)

    # -- the abstract step --------------------------------------------------------------------

    def permit(self, site: Site) -> None:
        """Move the regions by all that moves items or takes them away."""
        moving = [belt.emit_may_move(site) for belt in site.parts.of(Belt)]
        removals = [Removal(p.at, site.actuating_plane(p.by)) for p in site.parts.of(Pusher)]
        feeding = site.hand(FEEDER) if site.parts.of(Feeder) else FALSE
        site.kept(self, Regions).emit_abstract(moving, removals, feeding, site.hand_on_items)
        for count in self.passed:
            site.may_rise(count, moving[-1])

    def abstract_planes(
        self, site: Site, values: Mapping[str, float], items: Sequence[tuple[float, bool]]
    ) -> dict[int, bool]:
        return site.kept(self, Regions).planes_at(items)

    # -- both ---------------------------------------------------------------------------------

    def _reach(self, site: Site) -> float:
        """Return how far an item goes in a scan at most, m."""
        return max(belt.speed for belt in site.parts.of(Belt)) * site.period

    def _check_speed(self, site: Site) -> None:
        """In one scan an item goes less than its own length, and not from one eye to the next."""
        fastest = self._reach(site)
        places = sorted({eye.at for eye in site.parts.of(Eye)})
        room = min([self.item_length, *(b - a for a, b in pairwise(places))])
        if fastest >= room:
            raise ValueError(
                f"{self.name}: items go {fastest:g} m in a scan, so an eye may miss one. "
                f"Let them go less than {room:g} m: slower belts or a shorter scan period."
            )
