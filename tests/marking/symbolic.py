"""One scan of a small ladder program as a z3 formula, written from the reference semantics.

Independent of the compiler: by recursion over the tree, as ``tests.reference`` does it. Covers
contacts of all kinds, series and parallel, all coils, and TON.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import z3

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.program import (
    Block,
    Coil,
    Contact,
    Duration,
    Element,
    Parallel,
    Path,
    Program,
    Series,
    walk,
)

State = dict[str, z3.ExprRef]
PERIOD_MS = 10


@dataclass(slots=True)
class SymbolicProgram:
    """Names of what a program carries from scan to scan, and its step."""

    program: Program
    presets: dict[str, int] = field(init=False)

    def __post_init__(self) -> None:
        self.presets = {
            element.instance: -(-wired.operand.ms // PERIOD_MS)
            for rung in self.program.rungs
            for _, element in walk(rung.network)
            if isinstance(element, Block)
            for wired in element.inputs
            if isinstance(wired.operand, Duration)
        }

    def initial(self) -> State:
        """Everything off, no time elapsed."""
        return {name: z3.BoolVal(False) for name in self._bits()} | {
            f"{timer}.et": z3.IntVal(0) for timer in self.presets
        }

    def any_state(self, tag: str) -> State:
        """A state of free variables."""
        free: State = {name: z3.Bool(f"{name}@{tag}") for name in self._bits()}
        return free | {f"{timer}.et": z3.Int(f"{timer}.et@{tag}") for timer in self.presets}

    def legal(self, state: State) -> z3.BoolRef:
        """Elapsed times are within their range: true of every state that a run reaches."""
        return z3.And(
            *(
                z3.And(state[f"{timer}.et"] >= 0, state[f"{timer}.et"] <= preset)
                for timer, preset in self.presets.items()
            )
        )

    def step(self, state: State, inputs: Mapping[str, z3.BoolRef]) -> State:
        """The state after one scan."""
        now: State = dict(state) | dict(inputs)
        for number, rung in enumerate(self.program.rungs):
            power = self._series(now, number, (), rung.network, z3.BoolVal(True))
            for output in rung.outputs:
                assert isinstance(output, Coil), "small programs have no numbers"
                old = now[output.symbol]
                now[output.symbol] = {
                    CoilKind.COIL: power,
                    CoilKind.NEGATED: z3.Not(power),
                    CoilKind.SET: z3.Or(old, power),
                    CoilKind.RESET: z3.And(old, z3.Not(power)),
                }[output.kind]
        return {name: z3.simplify(now[name]) for name in state}

    def _series(
        self, now: State, number: int, path: Path, series: Series, power: z3.BoolRef
    ) -> z3.BoolRef:
        for i, item in enumerate(series.items):
            here = (*path, i)
            if isinstance(item, Parallel):
                power = z3.Or(
                    *(
                        self._series(now, number, (*here, j), branch, power)
                        for j, branch in enumerate(item.branches)
                    )
                )
            else:
                power = self._element(now, f"{number}:{here}", item, power)
        return power

    def _element(self, now: State, place: str, element: Element, power: z3.BoolRef) -> z3.BoolRef:
        if isinstance(element, Block):
            return self._on_delay(now, element.instance, power)
        assert isinstance(element, Contact), "small programs have no comparisons"
        value = now[element.symbol]
        match element.kind:
            case ContactKind.OPEN:
                closed = value
            case ContactKind.CLOSED:
                closed = z3.Not(value)
            case ContactKind.RISING:
                closed = z3.And(value, z3.Not(now[place]))
            case ContactKind.FALLING:
                closed = z3.And(z3.Not(value), now[place])
        if element.kind in (ContactKind.RISING, ContactKind.FALLING):
            now[place] = value
        return z3.And(power, closed)

    def _on_delay(self, now: State, timer: str, power: z3.BoolRef) -> z3.BoolRef:
        preset, et = self.presets[timer], now[f"{timer}.et"]
        longer = z3.If(et + 1 > preset, preset, et + 1)
        elapsed = z3.If(z3.And(power, now[f"{timer}.in"]), longer, 0)
        now[f"{timer}.et"], now[f"{timer}.in"] = elapsed, power
        now[f"{timer}.Q"] = z3.And(power, elapsed == preset)
        return now[f"{timer}.Q"]

    def _bits(self) -> list[str]:
        bits = [
            v.symbol
            for v in self.program.variables
            if v.type == "BOOL" and not (v.address or "").startswith("%I")
        ]
        edges = [
            f"{number}:{path}"
            for number, rung in enumerate(self.program.rungs)
            for path, element in walk(rung.network)
            if isinstance(element, Contact)
            and element.kind in (ContactKind.RISING, ContactKind.FALLING)
        ]
        timers = [f"{timer}.{what}" for timer in self.presets for what in ("in", "Q")]
        return [*bits, *edges, *timers]
