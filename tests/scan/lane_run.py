"""A compiled program in 64 lanes with inputs set by hand: what the kernel tests run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.ladder.program import Program
from server.scan.assembler import Assembler, Bit, Elapsed, Machine, Quantity, Signal, Word
from server.scan.compiler import CompiledProgram, compile_program
from server.scan.instructions import INT_PLANES
from server.scan.kernel import execute
from server.scan.lanes import LANES, plane_of

Lanes = Sequence[int]


@dataclass(slots=True)
class LaneRun:
    """64 controllers side by side; each scan takes 64 values for each input point."""

    program: Program
    period_ms: int = 10
    observe: bool = False
    exact_timers: bool = True
    saturate_counters: bool = False
    inputs: dict[str, Signal] = field(default_factory=dict)
    compiled: CompiledProgram = field(init=False)
    machine: Machine = field(init=False)
    bits: NDArray[np.uint64] = field(init=False)
    supply: int = field(init=False)

    def __post_init__(self) -> None:
        asm = Assembler(period_ms=self.period_ms)
        self.supply = asm.control(True)
        for variable in self.program.variables:
            if variable.address is not None and variable.address.startswith("%I"):
                planes = [
                    asm.control() for _ in range(1 if variable.type == "BOOL" else INT_PLANES)
                ]
                signal = Bit(planes[0]) if variable.type == "BOOL" else Word(planes[0])
                self.inputs[variable.address] = signal
        with asm.section("program"):
            self.compiled = compile_program(
                asm,
                self.program,
                self.inputs,
                self.supply,
                observe=self.observe,
                exact_timers=self.exact_timers,
                saturate_counters=self.saturate_counters,
            )
        self.machine = asm.machine()
        self.bits = self.machine.initial.copy()

    def scan(self, inputs: Mapping[str, Lanes], supplied: Lanes | None = None) -> None:
        """One scan; ``inputs`` by address, ``supplied`` which lanes have power (all if None)."""
        for address, values in inputs.items():
            self.write(self.inputs[address], values)
        self.write(Bit(self.supply), [1] * LANES if supplied is None else supplied)
        section = self.machine.sections["program"]
        machine = self.machine
        execute(
            machine.code, section.first, section.last, self.bits, machine.initial, machine.table
        )

    def write(self, signal: Signal, values: Lanes) -> None:
        """Set a signal from outside, lane by lane."""
        planes = planes_of(signal)
        for i, plane in enumerate(planes):
            self.bits[plane] = plane_of(np.array([(value >> i) & 1 for value in values], np.bool_))

    def signals(self) -> dict[str, list[int]]:
        """64 values of every variable and block output, by lower-case name; ``FAULT`` the fault."""
        found = {name: self.read(signal) for name, signal in self.compiled.symbols.items()}
        return {**found, "FAULT": self.read(Bit(self.compiled.fault))}

    @property
    def constants(self) -> set[str]:
        """TIME variables: nothing writes them, so they have no planes."""
        return {v.symbol for v in self.program.variables if v.type == "TIME"}

    def read(self, signal: Signal) -> list[int]:
        """A signal's value in each lane: BOOL 0 or 1, INT, WORD, ET in milliseconds."""
        words = self.bits[list(planes_of(signal))].reshape(-1, 1)
        bits = ((words >> np.arange(LANES, dtype=np.uint64)) & np.uint64(1)).astype(np.int64)
        weights = 1 << np.arange(len(words))
        raw: list[int] = (weights @ bits).tolist()
        match signal:
            case Bit():
                return raw
            case Word(_, False):
                return raw
            case Word():
                return [value - 0x10000 if value >= 0x8000 else value for value in raw]
            case Elapsed(_, planes_used, start, period_ms, preset_ms):
                scans = [(value - start) % (1 << planes_used) for value in raw]
                return [min(count * period_ms, preset_ms) for count in scans]
            case Quantity():
                raise AssertionError("a program has no quantities")


def planes_of(signal: Signal) -> range:
    """The planes of a signal, lowest bit first."""
    match signal:
        case Bit(plane):
            return range(plane, plane + 1)
        case Word(base, _):
            return range(base, base + INT_PLANES)
        case Elapsed(base, planes):
            return range(base, base + planes)
        case Quantity():
            raise AssertionError("a quantity has no planes")


def lane_bits(word: np.uint64) -> NDArray[np.bool_]:
    """The 64 booleans of one plane, lane 0 first."""
    one = np.uint64(1)
    lanes: NDArray[np.bool_] = (np.uint64(word) >> np.arange(64, dtype=np.uint64)) & one == one
    return lanes
