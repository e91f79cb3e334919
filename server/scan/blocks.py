"""Each standard function block as instructions; ``INSTANCES`` is their table.

The rules are IEC 61131-3's; ``tests/reference.py`` has them once more, in plain numbers.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from server.ladder.elements import BLOCK_TYPES, INT_MAX, INT_MIN, BlockType
from server.scan.assembler import Assembler, Bit, Signal, TimerState, Word
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op


@dataclass(frozen=True, slots=True)
class BlockDeclaration:
    """What is known of an instance before its first scan.

    ``presets`` are the inputs that stay the same, by pin: a preset in milliseconds or as a number.
    Where no rung has the block there are none. A timer that is not ``counted`` may be over at any
    later scan, whenever the plane that ``decide`` gives for a label says so. A counter that is
    ``short`` stops counting where Q can't change any more.
    """

    name: str
    type: BlockType
    presets: Mapping[str, int]
    counted: bool
    short: bool
    decide: Callable[[str], int]


class Instance(ABC):
    """A function block in a machine: the planes of its state, and what it does in a scan."""

    def __init__(self, asm: Assembler, declared: BlockDeclaration) -> None:
        self.asm = asm
        self.declared = declared
        self.type = declared.type
        self.outputs: dict[str, Signal] = {}

    @property
    def power_out(self) -> int:
        """The plane of the output at which power leaves."""
        output = self.outputs[self.type.power_out]
        assert isinstance(output, Bit), "power is a BOOL"
        return output.plane

    @abstractmethod
    def run(self, power: int, pin: Callable[[str], int]) -> None:
        """Emit one scan.

        ``pin`` gives the plane of a BOOL input, FALSE where none is wired, or the base of a number.
        """


class Timer(Instance):
    """TON, TOF, TP: Q and ET, timed by ``op``."""

    op: ClassVar[Op]

    def __init__(self, asm: Assembler, declared: BlockDeclaration) -> None:
        super().__init__(asm, declared)
        self.state: TimerState = asm.timer_state(declared.presets.get("PT", 0))
        self.outputs = {"Q": Bit(self.state.q), "ET": self.state.elapsed}

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        if self.declared.counted or not self.state.elapsed.planes:
            self.asm.run_timer(self.op, power, self.state)
            return
        label = f"{self.declared.name} {self.type.name} {self.state.elapsed.preset_ms}"
        q = self.uncounted(power, self.declared.decide(label))
        self.asm.copy_to(self.state.q, q)
        self.asm.copy_to(self.state.before, power)

    @abstractmethod
    def uncounted(self, power: int, over: int) -> int:
        """Return the plane of Q where ``over`` says that the time is over."""


class OnDelay(Timer):
    op = Op.TON

    def uncounted(self, power: int, over: int) -> int:
        # q := power and (q or before and over)
        done = self.asm.or_(self.state.q, self.asm.and_(self.state.before, over))
        return self.asm.and_(power, done)


class OffDelay(Timer):
    op = Op.TOF

    def uncounted(self, power: int, over: int) -> int:
        # q := power or q and not (over and not before)
        ended = self.asm.and_not(over, self.state.before)
        return self.asm.or_(power, self.asm.and_not(self.state.q, ended))


class Pulse(Timer):
    op = Op.TP

    def uncounted(self, power: int, over: int) -> int:
        # q := q and not over, or a rising edge while no pulse runs
        fresh = self.asm.and_not(self.asm.and_not(power, self.state.before), self.state.q)
        return self.asm.or_(self.asm.and_not(self.state.q, over), fresh)


class Counter(Instance):
    """CTU, CTD, CTUD by one rule: reset over load over counting."""

    def __init__(self, asm: Assembler, declared: BlockDeclaration) -> None:
        super().__init__(asm, declared)
        self.outputs = {pin.name: Bit(asm.bit()) for pin in self.type.outputs if pin.type == "BOOL"}
        self.memory, self.memory_down = asm.bit(), asm.bit()
        self.count = asm.planes(INT_PLANES)
        self.outputs["CV"] = Word(self.count)

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        asm, preset = self.asm, self.declared.presets.get("PV")
        counts_up, counts_down = (
            name == self.type.power_in or name in (each.name for each in self.type.inputs)
            for name in ("CU", "CD")
        )
        down, reset, load = pin("CD"), pin("R"), pin("LD")
        up, down = (power, down) if counts_up else (FALSE, power)
        rising = asm.edge(up, self.memory)
        falling = asm.edge(down, self.memory_down)
        most, least = INT_MAX, INT_MIN
        if preset is not None and self.declared.short:
            if not counts_down:
                most = max(preset, 0)
            elif not counts_up and preset >= 0:
                least = 0
        limits = ((preset or 0) & 0xFFFF, most & 0xFFFF, least & 0xFFFF)
        loaded = FALSE if preset is None else load
        asm.emit(Op.COUNT, self.count, rising, falling, reset, loaded, *limits)
        if preset is None:
            asm.emit(Op.MOVE, self.count, pin("PV"), asm.and_not(load, reset))
        if counts_up:
            self._compare(preset, pin)
        if counts_down:
            at_zero = self.outputs["QD"] if counts_up else self.outputs["Q"]
            assert isinstance(at_zero, Bit), "it is a BOOL"
            asm.emit(Op.LT, at_zero.plane, self.count, asm.constant(1))

    def _compare(self, preset: int | None, pin: Callable[[str], int]) -> None:
        """``Q := CV >= PV``."""
        asm = self.asm
        if preset is None:
            asm.emit(Op.LT, self.power_out, self.count, pin("PV"))
            asm.emit(Op.NOT, self.power_out, self.power_out)
        elif preset == INT_MIN:
            asm.copy_to(self.power_out, TRUE)
        else:
            asm.emit(Op.LT, self.power_out, asm.constant(preset - 1), self.count)


class RisingEdge(Instance):
    """R_TRIG."""

    def __init__(self, asm: Assembler, declared: BlockDeclaration) -> None:
        super().__init__(asm, declared)
        self.outputs = {"Q": Bit(asm.bit())}
        self.memory = asm.bit()

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        self.asm.emit(Op.RISE, self.power_out, power, self.memory)


class FallingEdge(RisingEdge):
    """F_TRIG: ``Q := NOT CLK AND NOT M; M := NOT CLK``."""

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        super().run(self.asm.not_(power), pin)


class SetDominant(Instance):
    """SR: ``Q1 := S1 OR (NOT R AND Q1)``."""

    def __init__(self, asm: Assembler, declared: BlockDeclaration) -> None:
        super().__init__(asm, declared)
        self.outputs = {"Q1": Bit(asm.bit())}

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        q = self.power_out
        self.asm.emit(Op.OR, q, power, self.asm.and_not(q, pin("R")))


class ResetDominant(SetDominant):
    """RS: ``Q1 := NOT R1 AND (S OR Q1)``."""

    def run(self, power: int, pin: Callable[[str], int]) -> None:
        q = self.power_out
        self.asm.emit(Op.ANDN, q, self.asm.or_(power, q), pin("R1"))


INSTANCES: dict[str, Callable[[Assembler, BlockDeclaration], Instance]] = {
    "TON": OnDelay,
    "TOF": OffDelay,
    "TP": Pulse,
    "CTU": Counter,
    "CTD": Counter,
    "CTUD": Counter,
    "R_TRIG": RisingEdge,
    "F_TRIG": FallingEdge,
    "SR": SetDominant,
    "RS": ResetDominant,
}
assert set(INSTANCES) == set(BLOCK_TYPES), "every function block has instructions"
