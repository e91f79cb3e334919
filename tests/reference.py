"""The meaning of a ladder program once more, plain and slow: what the kernel is held against.

One lane, one scan at a time, by recursion over the tree, with Python's own numbers. Written from
IEC 61131-3's rules (from memory; the standard defines the timers by timing diagrams), not from the
compiler. Where the standard leaves a choice, it is named at the block that makes it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import fmod
from typing import TypeAlias

from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    INT_MIN,
    CoilKind,
    ContactKind,
    Operator,
    Relation,
)
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Calculated,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Name,
    Number,
    Operand,
    Output,
    Parallel,
    Path,
    Program,
    Series,
    Variable,
)

Pins: TypeAlias = Mapping[str, int]
"""Operands of a block's inputs by pin; a pin that is not wired is 0."""


@dataclass(slots=True)
class OnDelay:
    """TON: Q comes when IN has been TRUE for PT; ET runs from the scan that saw the edge."""

    q: bool = False
    et: int = 0
    before: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        running = power and self.before
        self.et = min(self.et + period_ms, pins["PT"]) if running else 0
        self.q = power and self.et == pins["PT"]
        self.before = power
        return self.q


@dataclass(slots=True)
class OffDelay:
    """TOF: Q stays for PT after IN has gone; ET holds PT until IN comes again."""

    q: bool = False
    et: int = 0
    before: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        if power:
            self.q, self.et = True, 0
        elif self.q:
            elapsed = 0 if self.before else period_ms
            self.et = min(self.et + elapsed, pins["PT"])
            self.q = self.et < pins["PT"]
        self.before = power
        return self.q


@dataclass(slots=True)
class Pulse:
    """TP: an edge starts a pulse of PT; edges during the pulse are lost.

    Left open by the standard: an edge in the scan in which the pulse ends is lost too.
    """

    q: bool = False
    et: int = 0
    before: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        edge = power and not self.before
        if self.q:
            self.et = min(self.et + period_ms, pins["PT"])
            self.q = self.et < pins["PT"]
        elif edge:
            self.q, self.et = pins["PT"] > 0, 0
        if not self.q and not power:
            self.et = 0
        self.before = power
        return self.q


@dataclass(slots=True)
class Counter:
    """CTU, CTD and CTUD by one rule: reset over load over counting, both edges at once: no change.

    Counting stops at the ends of INT's range (the standard's PVmax and PVmin).
    """

    cv: int = 0
    up_before: bool = False
    down_before: bool = False

    def count(self, up: bool, down: bool, reset: bool, load: bool, preset: int) -> None:
        up_edge, down_edge = up and not self.up_before, down and not self.down_before
        self.up_before, self.down_before = up, down
        if reset:
            self.cv = 0
        elif load:
            self.cv = preset
        elif up_edge and not down_edge:
            self.cv = min(self.cv + 1, INT_MAX)
        elif down_edge and not up_edge:
            self.cv = max(self.cv - 1, INT_MIN)


@dataclass(slots=True)
class UpCounter(Counter):
    """CTU."""

    q: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.count(power, False, bool(pins["R"]), False, pins["PV"])
        self.q = self.cv >= pins["PV"]
        return self.q


@dataclass(slots=True)
class DownCounter(Counter):
    """CTD."""

    q: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.count(False, power, False, bool(pins["LD"]), pins["PV"])
        self.q = self.cv <= 0
        return self.q


@dataclass(slots=True)
class UpDownCounter(Counter):
    """CTUD."""

    qu: bool = False
    qd: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.count(power, bool(pins["CD"]), bool(pins["R"]), bool(pins["LD"]), pins["PV"])
        self.qu, self.qd = self.cv >= pins["PV"], self.cv <= 0
        return self.qu


@dataclass(slots=True)
class RisingEdge:
    """R_TRIG: Q := CLK AND NOT M; M := CLK."""

    q: bool = False
    m: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.q, self.m = power and not self.m, power
        return self.q


@dataclass(slots=True)
class FallingEdge:
    """F_TRIG: Q := NOT CLK AND NOT M; M := NOT CLK. So Q comes in a first scan without CLK."""

    q: bool = False
    m: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.q, self.m = not power and not self.m, not power
        return self.q


@dataclass(slots=True)
class SetDominant:
    """SR: Q1 := S1 OR (NOT R AND Q1)."""

    q1: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.q1 = power or (not pins["R"] and self.q1)
        return self.q1


@dataclass(slots=True)
class ResetDominant:
    """RS: Q1 := NOT R1 AND (S OR Q1)."""

    q1: bool = False

    def run(self, power: bool, pins: Pins, period_ms: int) -> bool:
        self.q1 = not pins["R1"] and (power or self.q1)
        return self.q1


Instance: TypeAlias = (
    OnDelay
    | OffDelay
    | Pulse
    | UpCounter
    | DownCounter
    | UpDownCounter
    | RisingEdge
    | FallingEdge
    | SetDominant
    | ResetDominant
)

INSTANCES: dict[str, type[Instance]] = {
    "TON": OnDelay,
    "TOF": OffDelay,
    "TP": Pulse,
    "CTU": UpCounter,
    "CTD": DownCounter,
    "CTUD": UpDownCounter,
    "R_TRIG": RisingEdge,
    "F_TRIG": FallingEdge,
    "SR": SetDominant,
    "RS": ResetDominant,
}


@dataclass(slots=True)
class Controller:
    """A program and its variables, one lane.

    ``values`` holds each variable by symbol, ``fault`` whether some arithmetic went wrong since
    the supply came, ``power`` what leaves each item of each rung (and, under the empty path, the
    whole network) in the last scan with supply.
    """

    program: Program
    period_ms: int = 10
    values: dict[str, int] = field(default_factory=dict)
    instances: dict[str, Instance] = field(default_factory=dict)
    edges: dict[tuple[int, Path], bool] = field(default_factory=dict)
    power: dict[tuple[int, Path], bool] = field(default_factory=dict)
    fault: bool = False

    def __post_init__(self) -> None:
        for variable in self.program.variables:
            self._initialise(variable)

    def _initialise(self, variable: Variable) -> None:
        if variable.type in BLOCK_TYPES:
            self.instances[variable.symbol] = INSTANCES[variable.type]()
        else:
            self.values[variable.symbol] = variable.initial or 0

    # -- one scan -------------------------------------------------------------------------------

    def scan(self, inputs: Mapping[str, int], supplied: bool = True) -> None:
        """Read ``inputs`` (by address; what is missing is 0), evaluate the rungs top to bottom.

        Without supply nothing is evaluated: RETAIN variables keep their values, all others go
        back to their initial ones.
        """
        for variable in self.program.variables:
            if variable.address is not None and variable.address.startswith("%I"):
                self.values[variable.symbol] = inputs.get(variable.address, 0)
            elif not supplied and not variable.retain:
                self._initialise(variable)
        if not supplied:
            self.edges.clear()
            self.fault = False
            return
        for number, rung in enumerate(self.program.rungs):
            power = self._series(rung.network, True, number, ())
            self.power[number, ()] = power
            for output in rung.outputs:
                self._output(output, power)

    def signals(self) -> dict[str, int]:
        """Every variable by symbol and every block output as ``delay.ET``."""
        found = dict(self.values)
        for variable in self.program.variables:
            if variable.type in BLOCK_TYPES:
                for pin in BLOCK_TYPES[variable.type].outputs:
                    name = f"{variable.symbol}.{pin.name}"
                    found[name] = self.value(name)
        return {name: int(value) for name, value in found.items()}

    def outputs(self) -> dict[str, int]:
        """Output points by address."""
        return {
            v.address: int(self.values[v.symbol])
            for v in self.program.variables
            if v.address is not None and v.address.startswith("%Q")
        }

    def value(self, symbol: str) -> int:
        """A variable's value, a block output's, or that of a bit of a WORD."""
        instance, dot, pin = symbol.partition(".")
        if not dot:
            return self.values[symbol]
        if pin.startswith("%X"):
            return self.values[instance] >> int(pin.removeprefix("%X")) & 1
        output: int = getattr(self.instances[instance], pin.lower())
        return output

    # -- networks -------------------------------------------------------------------------------

    def _series(self, series: Series, power: bool, number: int, prefix: Path) -> bool:
        for i, item in enumerate(series.items):
            path = (*prefix, i)
            if isinstance(item, Parallel):
                # Every branch is evaluated: its blocks and edges run whatever the others carry.
                ends = [
                    self._series(branch, power, number, (*path, j))
                    for j, branch in enumerate(item.branches)
                ]
                power = any(ends)
            else:
                power = self._element(item, power, (number, path))
            self.power[number, path] = power
        return power

    def _element(self, element: Element, power: bool, place: tuple[int, Path]) -> bool:
        match element:
            case Contact(kind, symbol):
                return self._conducts(kind, bool(self.value(symbol)), place) and power
            case Comparison(left, relation, right):
                return compare(self._operand(left), relation, self._operand(right)) and power
            case Block(instance, inputs):
                pins = dict.fromkeys(("CD", "R", "LD"), 0)
                for wired in inputs:
                    value = self._operand(wired.operand)
                    pins[wired.pin] = int(not value) if wired.negated else value
                return self.instances[instance].run(power, pins, self.period_ms)

    def _conducts(self, kind: ContactKind, now: bool, place: tuple[int, Path]) -> bool:
        match kind:
            case ContactKind.OPEN:
                return now
            case ContactKind.CLOSED:
                return not now
            case ContactKind.RISING | ContactKind.FALLING:
                # Nothing was TRUE before the first scan, so no edge falls in it.
                before = self.edges.get(place, False)
                self.edges[place] = now
                rose, fell = now and not before, before and not now
                return rose if kind is ContactKind.RISING else fell

    def _operand(self, operand: Operand) -> int:
        match operand:
            case Name(symbol):
                return self.value(symbol)
            case Number(value, _):
                return value
            case Duration(ms):
                return ms

    # -- outputs --------------------------------------------------------------------------------

    def _output(self, output: Output, power: bool) -> None:
        if isinstance(output, AssignmentStatement):
            if power:
                self._assign(output)
            return
        match output.kind:
            case CoilKind.COIL:
                self._drive(output.symbol, power)
            case CoilKind.NEGATED:
                self._drive(output.symbol, not power)
            case CoilKind.SET:
                self._drive(output.symbol, power or bool(self.value(output.symbol)))
            case CoilKind.RESET:
                self._drive(output.symbol, not power and bool(self.value(output.symbol)))

    def _drive(self, symbol: str, on: bool) -> None:
        """Write a BOOL, or one bit of a WORD."""
        word, dot, pin = symbol.partition(".")
        if not dot:
            self.values[symbol] = on
            return
        weight = 1 << int(pin.removeprefix("%X"))
        self.values[word] = (self.values[word] & ~weight) | (weight if on else 0)

    def _assign(self, output: AssignmentStatement) -> None:
        result = self._value(output.value)
        if result is None:
            self.fault = True
        else:
            self.values[output.target] = result

    def _value(self, value: Calculated) -> int | None:
        """None where anything in it has no result."""
        if not isinstance(value, Formula):
            return self._operand(value)
        given = [self._value(operand) for operand in value.operands]
        known = [each for each in given if each is not None]
        return calculate(value.operator, *known) if len(known) == len(given) else None


def compare(left: int, relation: Relation, right: int) -> bool:
    """Whether the relation holds."""
    match relation:
        case Relation.EQ:
            return left == right
        case Relation.NE:
            return left != right
        case Relation.LT:
            return left < right
        case Relation.LE:
            return left <= right
        case Relation.GT:
            return left > right
        case Relation.GE:
            return left >= right


def calculate(operator: Operator, *given: int) -> int | None:
    """The result as an INT; None when it is out of range or divides by zero.

    A quotient is truncated toward zero, and what MOD leaves has the sign of its left side; by zero
    it is 0. LIMIT is MIN(MAX(IN, MN), MX). All from IEC 61131-3's function tables (from memory).
    """
    if operator in _OF_BITS:
        return _OF_BITS[operator](*given)
    match operator, given:
        case Operator.ADD, (left, right):
            result = left + right
        case Operator.SUB, (left, right):
            result = left - right
        case Operator.MUL, (left, right):
            result = left * right
        case Operator.DIV, (left, right):
            if right == 0:
                return None
            quotient = abs(left) // abs(right)
            result = quotient if (left < 0) == (right < 0) else -quotient
        case Operator.MOD, (left, right):
            result = int(fmod(left, right)) if right else 0
        case Operator.ABS, (number,):
            result = abs(number)
        case Operator.MIN, _:
            result = min(given)
        case Operator.MAX, _:
            result = max(given)
        case Operator.LIMIT, (lowest, number, highest):
            result = min(max(number, lowest), highest)
        case Operator.SEL, (chooser, first, second):
            return second if chooser else first
        case _:
            raise AssertionError(f"{operator} of {given}")
    return result if INT_MIN <= result <= INT_MAX else None


ALL_BITS = 0xFFFF
"""A WORD is a number from 0 to this; the functions on it are written bit by bit."""


def _shift(word: int, places: int, *, up: bool, circular: bool) -> int | None:
    """SHL, SHR, ROL and ROR, one place at a time; a negative number of places is an error."""
    if places < 0:
        return None
    bits = [word >> i & 1 for i in range(16)]
    for _ in range(places % 16 if circular else min(places, 16)):
        if up:
            bits = [bits[15] if circular else 0, *bits[:15]]
        else:
            bits = [*bits[1:], bits[0] if circular else 0]
    return sum(bit << i for i, bit in enumerate(bits))


_OF_BITS: dict[Operator, Callable[..., int | None]] = {
    Operator.NOT: lambda word: ALL_BITS - word,
    Operator.AND: lambda left, right: left & right,
    Operator.OR: lambda left, right: left | right,
    Operator.XOR: lambda left, right: left ^ right,
    Operator.SHL: partial(_shift, up=True, circular=False),
    Operator.SHR: partial(_shift, up=False, circular=False),
    Operator.ROL: partial(_shift, up=True, circular=True),
    Operator.ROR: partial(_shift, up=False, circular=True),
    Operator.INT_TO_WORD: lambda number: number % (ALL_BITS + 1),
    Operator.WORD_TO_INT: lambda word: word if word <= INT_MAX else word - (ALL_BITS + 1),
}
"""The bitwise and shift functions and the conversions of IEC 61131-3's tables (from memory)."""
