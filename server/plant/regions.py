"""The abstract step of a conveyor: whether an item is before an eye, and whether one is between.

Of each eye it is known whether an item blocks it, of each stretch between two eyes whether an
item is wholly within it. Choices say which items move; stops and distances are left open. Marked
items are followed by the eyes that see only them, in a chain of their own.

Sound where an item goes less than its own length and less than from eye to eye in one scan: then
it is seen at every eye that it passes, so that a stretch empties only past the eye at its end.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.plant.parts.eye import Eye
from server.plant.track import Track
from server.scan.assembler import Assembler
from server.scan.instructions import FALSE, TRUE


@dataclass(frozen=True, slots=True)
class Removal:
    """Items that reach over the place ``at`` may vanish while the plane ``on`` is TRUE."""

    at: float
    on: int


class Regions:
    """Planes of the eyes by tag, and of the stretches by the two tags beside them.

    ``reach`` is how far an item goes in a scan at most, m.
    """

    def __init__(self, track: Track, eyes: Sequence[Eye], asm: Assembler, reach: float) -> None:
        self._track = track
        self._asm = asm
        self._reach = reach
        self.eyes = {eye.tag: asm.bit() for eye in eyes}
        self._chains = [
            sorted((e for e in eyes if e.marked_only is marked), key=lambda e: e.at)
            for marked in (False, True)
        ]
        self.stretches = {
            (a.tag, b.tag): asm.bit()
            for chain in self._chains
            for a, b in pairwise(chain)
            if b.at - a.at > track.item_length
        }

    def planes_at(self, items: Sequence[tuple[float, bool]]) -> dict[int, bool]:
        """Return what each plane is with items given as front edge and mark."""
        length = self._track.item_length
        planes = {}
        for chain in self._chains:
            fronts = [
                front for front, marked in items if marked or not chain or not chain[0].marked_only
            ]
            for eye in chain:
                planes[self.eyes[eye.tag]] = any(0 <= f - eye.at < length for f in fronts)
            for a, b in pairwise(chain):
                if (a.tag, b.tag) in self.stretches:
                    within = any(f - a.at >= length and f < b.at for f in fronts)
                    planes[self.stretches[a.tag, b.tag]] = within
        return planes

    def emit_abstract(
        self, moving: Sequence[int], removals: Sequence[Removal], feeding: int, hand: int = FALSE
    ) -> None:
        """Emit the step: ``moving`` are planes of the belts that may move, in their order.

        While ``hand`` is TRUE, items may be put down and taken away anywhere.
        """
        plain: dict[float, int] = {}
        for chain in self._chains:
            before: _Seen | None = None
            for eye in chain:
                plane = self.eyes[eye.tag]
                old = self._asm.temporary()
                self._asm.copy_to(old, plane)
                moves = self._moving_at(eye, moving)
                removed = self._any(r.on for r in removals if self._near(eye, r))
                comes = self._asm.or_(self._may_come(eye, before, moves, feeding), hand)
                goes = self._any([moves, removed, hand])
                new = self._turn(old, comes, goes)
                if eye.marked_only:
                    new = self._asm.and_(new, plain.get(eye.at, TRUE))
                else:
                    plain[eye.at] = new
                here = _Seen(eye, old, new, moves, removed)
                if before is not None:
                    self._stretch(before, here, removals, hand)
                self._asm.copy_to(plane, new)
                before = here

    def _may_come(self, eye: Eye, before: "_Seen | None", moves: int, feeding: int) -> int:
        """Return where an item may come before the eye, by the belt or laid down there."""
        asm = self._asm
        if before is None:
            source = TRUE
        else:
            source = asm.or_(before.old, before.new)
            source = asm.or_(source, self.stretches.get((before.eye.tag, eye.tag), FALSE))
        laid_down = feeding if eye.at <= self._track.item_length else FALSE
        return asm.and_(source, asm.or_(moves, laid_down))

    def _stretch(self, a: "_Seen", b: "_Seen", removals: Sequence[Removal], hand: int) -> None:
        """Emit whether an item is wholly between two eyes: what leaves one must be somewhere."""
        plane = self.stretches.get((a.eye.tag, b.eye.tag))
        if plane is None:
            return
        asm = self._asm
        end = b.eye.at + self._reach
        removed = self._any([*(r.on for r in removals if a.eye.at < r.at < end), hand])
        left = asm.and_not(asm.and_not(a.old, a.new), self._any([a.removed, b.new, hand]))
        kept = asm.and_not(plane, asm.or_(b.new, removed))
        filled = self._any([plane, asm.and_(a.old, a.moves), hand])
        chosen = asm.and_(asm.choice(), filled)
        asm.copy_to(plane, asm.or_(asm.or_(left, kept), chosen))

    def _turn(self, old: int, may_come: int, may_go: int) -> int:
        """Return a choice: on, where it was or may become so.

        Off, where it was or may become so.
        """
        asm = self._asm
        on = asm.and_(asm.choice(), asm.or_(old, may_come))
        return asm.or_(on, asm.and_not(old, may_go))

    def _moving_at(self, eye: Eye, moving: Sequence[int]) -> int:
        """Return where a belt moves that may carry an item to the eye or away from it."""
        near, far = eye.at - self._reach, eye.at + self._track.item_length
        begin, planes = 0.0, []
        for number, ((_, length), plane) in enumerate(zip(self._track.belts, moving, strict=True)):
            end = begin + length
            if (number == 0 or begin <= far) and (end >= near or number == len(moving) - 1):
                planes.append(plane)
            begin = end
        return self._any(planes)

    def _near(self, eye: Eye, removal: Removal) -> bool:
        """Return whether an item that blocks the eye may be removed in this scan."""
        length = self._track.item_length
        return eye.at - length < removal.at < eye.at + length + self._reach

    def _any(self, planes: Iterable[int]) -> int:
        result = FALSE
        for plane in planes:
            result = self._asm.or_(result, plane)
        return result


@dataclass(frozen=True, slots=True)
class _Seen:
    """An eye in this scan: before, after, where items move at it and where they may vanish."""

    eye: Eye
    old: int
    new: int
    moves: int
    removed: int
