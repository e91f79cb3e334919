"""From a program to instructions: rungs top to bottom, elements left to right.

The program must be free of errors (``ladder.validation``). Points are bound by direct address.
"""

import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from server.ladder.elements import BLOCK_TYPES, INT_MIN, CoilKind, ContactKind, Operator, Relation
from server.ladder.program import (
    Assignment,
    Block,
    Coil,
    Comparison,
    Contact,
    Duration,
    Name,
    Number,
    Operand,
    Parallel,
    Path,
    Program,
    Rung,
    Series,
    Variable,
    walk,
)
from server.scan.assembler import Assembler, Bit, Elapsed, Signal, TimerState, Word
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op

_ARITHMETIC = {
    Operator.ADD: Op.ADD,
    Operator.SUB: Op.SUB,
    Operator.MUL: Op.MUL,
    Operator.DIV: Op.DIV,
}
_TIMERS = {"TON": Op.TON, "TOF": Op.TOF, "TP": Op.TP}
_INT_MAX, _INT_MIN = 0x7FFF, 0x8000


@dataclass(frozen=True, slots=True)
class CompiledProgram:
    """Where a program's signals stand in the machine.

    ``symbols`` has every variable and block output by lower-case name, ``outputs`` the output
    points by address, ``power`` what leaves each rung's network under the empty path and, with
    ``observe``, each element, ``fault`` the sticky arithmetic fault, ``timers`` each timer's
    state by instance, ``state`` every plane that it carries from scan to scan.
    """

    symbols: dict[str, Signal]
    outputs: dict[str, Signal]
    power: dict[tuple[int, Path], int]
    fault: int
    timers: dict[str, TimerState]
    state: tuple[int, ...]


def compile_program(
    asm: Assembler,
    program: Program,
    inputs: Mapping[str, Signal],
    power: int,
    *,
    signals: Mapping[str, Signal] | None = None,
    observe: bool = False,
    exact_timers: bool | frozenset[str] = True,
    short_counts: bool = False,
    decide: Callable[[str], int] | None = None,
) -> CompiledProgram:
    """Emit one scan of the program into ``asm``.

    ``inputs`` are the input points by address, ``signals`` further ones that the program reads by
    name without declaring them. ``power`` is the plane of the controller's supply: without it the
    program stands still, keeps RETAIN variables and loses the others. With
    ``observe`` every element's outgoing power keeps a plane of its own, for the live drawing. With
    ``exact_timers`` false a running timer may be over at any later scan (for proofs), unless a
    rung reads its ET: ``decide`` gives the plane that says so for a timer's name, kind and
    preset; by default a fresh choice. With ``short_counts`` a CTU or CTD whose CV no rung reads
    stops counting where Q can't change any more: Q is the same, and a search meets fewer states.
    """
    compiler = _Compiler(asm, observe, exact_timers, dict(signals or {}), short_counts=short_counts)
    if decide is not None:
        compiler.decide = decide
    first = len(asm.state_planes())
    compiler.declare(program, inputs)
    marker = compiler.begin(power)
    for number, rung in enumerate(program.rungs):
        compiler.rung(number, rung)
    state = asm.state_planes()[first:]
    rows = [(plane, plane in compiler.retained) for plane in state]
    saved, all_rows = asm.retention(rows)
    asm.replace(marker, Op.SAVE, power, saved.first, saved.last)
    asm.emit(Op.RESTORE, power, all_rows.first, all_rows.last)
    outputs = {
        v.address: compiler.symbols[v.symbol.lower()]
        for v in program.variables
        if v.address and v.address.upper().startswith("%Q")
    }
    timers = {name: i.timer for name, i in compiler.instances.items() if i.timer is not None}
    return CompiledProgram(compiler.symbols, outputs, compiler.power, compiler.fault, timers, state)


def compile_network(asm: Assembler, network: Series, signals: Mapping[str, Signal]) -> int:
    """Emit a network without function blocks; returns the plane of its result.

    ``signals`` are the names that it may use.
    """
    compiler = _Compiler(asm, observe=False, exact_timers=True, symbols=dict(signals))
    return compiler.series(0, (), network, TRUE)


@dataclass(slots=True)
class _Instance:
    """A declared function block: its type and the planes of its state."""

    type: str
    timer: TimerState | None = None
    q: int = FALSE
    qd: int = FALSE
    count: int = 0
    memory: int = FALSE
    memory_down: int = FALSE


@dataclass(slots=True)
class _Compiler:
    """``waiting`` are the outputs of blocks that have still to run in this scan."""

    asm: Assembler
    observe: bool
    exact_timers: bool | frozenset[str]
    symbols: dict[str, Signal] = field(default_factory=dict)
    instances: dict[str, _Instance] = field(default_factory=dict)
    retained: set[int] = field(default_factory=set)
    power: dict[tuple[int, Path], int] = field(default_factory=dict)
    durations: dict[str, int] = field(default_factory=dict)
    measured: set[str] = field(default_factory=set)
    short_counts: bool = False
    waiting: set[int] = field(default_factory=set)
    counts_read: set[str] = field(default_factory=set)
    fault: int = FALSE
    decide: Callable[[str], int] = field(init=False)

    def __post_init__(self) -> None:
        self.decide = lambda label: self.asm.choice()

    # -- declarations -------------------------------------------------------------------------

    def declare(self, program: Program, inputs: Mapping[str, Signal]) -> None:
        self.fault = self.asm.bit()
        blocks = {
            element.instance.lower(): element
            for rung in program.rungs
            for _, element in walk(rung.network)
            if isinstance(element, Block)
        }
        self.measured = _read(program, ".et")
        self.counts_read = _read(program, ".cv")
        for variable in program.variables:
            first = len(self.asm.state_planes())
            name = variable.symbol.lower()
            if variable.type in BLOCK_TYPES:
                self.declare_instance(name, variable.type, blocks.get(name))
            elif variable.type == "TIME":
                self.durations[name] = variable.initial or 0
            else:
                self.symbols[name] = self.variable(variable, inputs)
            if variable.retain:
                self.retained.update(self.asm.state_planes()[first:])

    def variable(self, variable: Variable, inputs: Mapping[str, Signal]) -> Signal:
        if variable.address and variable.address.upper().startswith("%I"):
            unwired: Signal = Bit(FALSE) if variable.type == "BOOL" else Word(self.asm.constant(0))
            return inputs.get(variable.address, unwired)
        initial = variable.initial or 0
        if variable.type == "BOOL":
            return Bit(self.asm.bit(bool(initial)))
        return Word(self.asm.planes(INT_PLANES, initial & 0xFFFF))

    def declare_instance(self, name: str, kind: str, block: Block | None) -> None:
        asm = self.asm
        instance = _Instance(kind)
        self.instances[name] = instance
        if kind in _TIMERS:
            preset = _preset(block, "PT")
            instance.timer = asm.timer_state(preset)
            instance.q = instance.timer.q
            self.symbols[f"{name}.et"] = instance.timer.elapsed
        elif kind in ("CTU", "CTD", "CTUD"):
            instance.q, instance.qd = asm.bit(), asm.bit()
            instance.memory, instance.memory_down = asm.bit(), asm.bit()
            instance.count = asm.planes(INT_PLANES)
            self.symbols[f"{name}.cv"] = Word(instance.count)
        else:
            instance.q, instance.memory = asm.bit(), asm.bit()
        self.waiting |= {instance.q, instance.qd} - {FALSE}
        self.symbols[f"{name}.{BLOCK_TYPES[kind].power_out.lower()}"] = Bit(instance.q)
        if kind == "CTUD":
            self.symbols[f"{name}.qd"] = Bit(instance.qd)

    def begin(self, power: int) -> int:
        """The place of SAVE, whose table is known only at the end."""
        return self.asm.emit(Op.SAVE, power, 0, 0)

    def counted(self, instance: str) -> bool:
        """Whether a timer's scans are counted."""
        exact = self.exact_timers
        return exact if isinstance(exact, bool) else instance in exact

    # -- rungs --------------------------------------------------------------------------------

    def rung(self, number: int, rung: Rung) -> None:
        result = self.series(number, (), rung.network, TRUE)
        written = {self.plane(o.symbol) for o in rung.outputs if isinstance(o, Coil)}
        if self.observe or (len(rung.outputs) > 1 and result in written):
            result = self.copied(result)
        self.power[number, ()] = result
        match rung.outputs:
            case (Coil(CoilKind.COIL, symbol),) if not self.observe:
                self.asm.move_to(self.plane(symbol), result)
            case outputs:
                for output in outputs:
                    self.output(output, result)

    def series(self, number: int, prefix: Path, series: Series, power: int) -> int:
        """The plane of the power that leaves; contacts in a row are one instruction."""
        closed, opened = [power], list[int]()
        for i, item in enumerate(series.items):
            path = (*prefix, i)
            match item:
                case Contact(ContactKind.OPEN, symbol):
                    closed.append(self.plane(symbol))
                case Contact(ContactKind.CLOSED, symbol):
                    opened.append(self.plane(symbol))
                case Contact(ContactKind.RISING, symbol):
                    closed.append(self.asm.rising(self.plane(symbol)))
                case Contact(ContactKind.FALLING, symbol):
                    closed.append(self.asm.falling(self.plane(symbol)))
                case Comparison(left, relation, right):
                    closed.append(self.compare(left, relation, right))
                case Block():
                    closed, opened = [self.block(item, self.behind(closed, opened))], []
                case Parallel() if not self.observe and not _blocks(item):
                    # What each branch takes from the left, all of them together take once.
                    closed.append(self.parallel(number, path, item, TRUE))
                case Parallel():
                    power = self.behind(closed, opened)
                    closed, opened = [self.parallel(number, path, item, power)], []
            if self.observe:
                power = self.copied(self.behind(closed, opened))
                self.power[number, path] = power
                closed, opened = [power], []
        return self.behind(closed, opened)

    def parallel(self, number: int, path: Path, parallel: Parallel, power: int) -> int:
        joined = FALSE
        for j, branch in enumerate(parallel.branches):
            joined = self.asm.or_(joined, self.series(number, (*path, j), branch, power))
        return joined

    def behind(self, closed: list[int], opened: list[int]) -> int:
        """The plane of the power behind contacts; a copy of what a block may still write."""
        plane = self.asm.series(closed, opened)
        return self.copied(plane) if plane in self.waiting else plane

    def output(self, output: Coil | Assignment, power: int) -> None:
        asm = self.asm
        if isinstance(output, Assignment):
            self.assign(output, power)
            return
        plane = self.plane(output.symbol)
        match output.kind:
            case CoilKind.COIL:
                asm.copy_to(plane, power)
            case CoilKind.NEGATED:
                asm.emit(Op.NOT, plane, power)
            case CoilKind.SET:
                asm.emit(Op.SET, plane, power)
            case CoilKind.RESET:
                asm.emit(Op.RESET, plane, power)

    def assign(self, output: Assignment, power: int) -> None:
        target = self.word(Name(output.target))
        left = self.word(output.left)
        if output.operator is None or output.right is None:
            self.asm.emit(Op.MOVE, target, left, power)
        else:
            op = _ARITHMETIC[output.operator]
            self.asm.emit(op, target, left, self.word(output.right), power, self.fault)

    # -- operands -----------------------------------------------------------------------------

    def plane(self, symbol: str) -> int:
        signal = self.symbols[symbol.lower()]
        assert isinstance(signal, Bit), f"{symbol} is a BOOL"
        return signal.plane

    def copied(self, plane: int) -> int:
        """A temporary that keeps the plane's value when the plane is written again."""
        own = self.asm.temporary()
        self.asm.copy_to(own, plane)
        return own

    def duration(self, operand: Operand) -> int | None:
        """Milliseconds of a literal or a TIME variable (nothing writes one); None for others."""
        match operand:
            case Duration(ms):
                return ms
            case Name(symbol):
                return self.durations.get(symbol.lower())
            case Number():
                return None

    def word(self, operand: Operand) -> int:
        match operand:
            case Number(value):
                return self.asm.constant(value)
            case Name(symbol):
                signal = self.symbols[symbol.lower()]
                assert isinstance(signal, Word), f"{symbol} is an INT"
                return signal.base
            case Duration():
                raise AssertionError("durations are compared with ET only")

    def compare(self, left: Operand, relation: Relation, right: Operand) -> int:
        if self.duration(left) is not None:
            left, right = right, left
            relation = _MIRRORED[relation]
        ms = self.duration(right)
        if ms is not None:
            other = self.duration(left)
            if other is not None:
                return TRUE if _HOLDS[relation](other, ms) else FALSE
            assert isinstance(left, Name), "a duration is compared with ET"
            timer = self.symbols[left.symbol.lower()]
            assert isinstance(timer, Elapsed), f"{left.symbol} is a TIME"
            return self.compare_elapsed(timer, relation, ms)
        a, b = self.word(left), self.word(right)
        d = self.asm.temporary()
        match relation:
            case Relation.EQ | Relation.NE:
                self.asm.emit(Op.EQ, d, a, b)
            case Relation.LT | Relation.GE:
                self.asm.emit(Op.LT, d, a, b)
            case Relation.GT | Relation.LE:
                self.asm.emit(Op.LT, d, b, a)
        positive = relation in (Relation.EQ, Relation.LT, Relation.GT)
        return d if positive else self.asm.not_(d)

    def compare_elapsed(self, timer: Elapsed, relation: Relation, ms: int) -> int:
        asm = self.asm
        at_least = asm.elapsed_at_least(timer, ms)
        match relation:
            case Relation.GE:
                return at_least
            case Relation.LT:
                return asm.not_(at_least)
        more = asm.elapsed_at_least(timer, ms, more=True)
        match relation:
            case Relation.GT:
                return more
            case Relation.LE:
                return asm.not_(more)
        equal = asm.and_not(at_least, more)
        return equal if relation is Relation.EQ else asm.not_(equal)

    # -- function blocks ----------------------------------------------------------------------

    def block(self, block: Block, power: int) -> int:
        asm = self.asm
        instance = self.instances[block.instance.lower()]
        q = instance.q
        pins = {i.pin: i for i in block.inputs}

        def pin(name: str) -> int:
            if name not in pins:
                return FALSE
            operand = pins[name].operand
            assert isinstance(operand, Name), f"{name} takes a BOOL"
            plane = self.plane(operand.symbol)
            return asm.not_(plane) if pins[name].negated else plane

        match instance.type:
            case "TON" | "TOF" | "TP":
                assert instance.timer is not None
                name = block.instance.lower()
                counted = self.counted(name) or name in self.measured
                if counted or not instance.timer.elapsed.planes:
                    asm.run_timer(_TIMERS[instance.type], power, instance.timer)
                else:
                    label = f"{block.instance} {instance.type}"
                    self.abstract_timer(label, instance.type, power, instance.timer)
            case "SR":
                # Q1 := S1 OR (NOT R AND Q1)
                asm.emit(Op.OR, q, power, asm.and_not(q, pin("R")))
            case "RS":
                # Q1 := NOT R1 AND (S OR Q1)
                asm.emit(Op.ANDN, q, asm.or_(power, q), pin("R1"))
            case "R_TRIG":
                asm.emit(Op.RISE, q, power, instance.memory)
            case "F_TRIG":
                # Q := NOT CLK AND NOT M; M := NOT CLK
                asm.emit(Op.RISE, q, asm.not_(power), instance.memory)
            case _:
                self.counter(block, instance, power, pin("CD"), pin("R"), pin("LD"))
        self.waiting -= {q, instance.qd}
        return q

    def counter(
        self, block: Block, instance: _Instance, power: int, down: int, reset: int, load: int
    ) -> None:
        asm = self.asm
        up, preset = power, _preset(block, "PV")
        if instance.type == "CTD":
            up, down = FALSE, power
        rising = asm.edge(up, instance.memory)
        falling = asm.edge(down, instance.memory_down)
        most, least = _INT_MAX, _INT_MIN
        if self.short_counts and block.instance.lower() not in self.counts_read:
            if instance.type == "CTU":
                most = max(preset, 0)
            elif instance.type == "CTD" and preset >= 0:
                least = 0
        limits = (preset & 0xFFFF, most, least)
        asm.emit(Op.COUNT, instance.count, rising, falling, reset, load, *limits)
        if instance.type != "CTD" and preset == INT_MIN:
            asm.copy_to(instance.q, TRUE)
        elif instance.type != "CTD":
            asm.emit(Op.LT, instance.q, asm.constant(preset - 1), instance.count)
        if instance.type != "CTU":
            at_zero = instance.q if instance.type == "CTD" else instance.qd
            asm.emit(Op.LT, at_zero, instance.count, asm.constant(1))

    def abstract_timer(self, label: str, kind: str, power: int, timer: TimerState) -> None:
        """A timer whose time may be over at any later scan: a choice decides."""
        asm = self.asm
        q, before = timer.q, timer.before
        over = self.decide(f"{label} {timer.elapsed.preset_ms}")
        if kind == "TON":
            # q := power and (q or before and over)
            done = asm.or_(q, asm.and_(before, over))
            asm.copy_to(q, asm.and_(power, done))
        elif kind == "TOF":
            # q := power or q and not (over and not before)
            ended = asm.and_not(over, before)
            asm.copy_to(q, asm.or_(power, asm.and_not(q, ended)))
        else:
            # q := q and not over, or a rising edge while no pulse runs
            fresh = asm.and_not(asm.and_not(power, before), q)
            asm.copy_to(q, asm.or_(asm.and_not(q, over), fresh))
        asm.copy_to(before, power)


_HOLDS: dict[Relation, Callable[[int, int], bool]] = {
    Relation.EQ: operator.eq,
    Relation.NE: operator.ne,
    Relation.LT: operator.lt,
    Relation.LE: operator.le,
    Relation.GT: operator.gt,
    Relation.GE: operator.ge,
}
_MIRRORED = {
    Relation.EQ: Relation.EQ,
    Relation.NE: Relation.NE,
    Relation.LT: Relation.GT,
    Relation.LE: Relation.GE,
    Relation.GT: Relation.LT,
    Relation.GE: Relation.LE,
}


def _blocks(parallel: Parallel) -> bool:
    """Whether a function block stands in some branch."""
    return any(isinstance(element, Block) for _, element in walk(Series((parallel,))))


def _read(program: Program, pin: str) -> set[str]:
    """Instances whose output ``pin`` (``.et``, ``.cv``) a rung reads as a number."""
    operands: list[Operand | None] = []
    for rung in program.rungs:
        for _, element in walk(rung.network):
            if isinstance(element, Comparison):
                operands += (element.left, element.right)
        for output in rung.outputs:
            if isinstance(output, Assignment):
                operands += (output.left, output.right)
    return {
        operand.symbol.lower().removesuffix(pin)
        for operand in operands
        if isinstance(operand, Name) and operand.symbol.lower().endswith(pin)
    }


def _preset(block: Block | None, pin: str) -> int:
    """The literal on PT (milliseconds) or PV; 0 for an instance that no rung holds."""
    for wired in block.inputs if block else ():
        match wired.operand:
            case Duration(ms) if wired.pin == pin:
                return ms
            case Number(value) if wired.pin == pin:
                return value
    return 0
