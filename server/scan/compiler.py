"""From a program to instructions: rungs top to bottom, elements left to right.

The program must be free of errors (``ladder.validation``). Points are bound by direct address.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import repeat

from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    CoilKind,
    ContactKind,
    Operator,
    Pin,
    Relation,
)
from server.ladder.names import bit_of
from server.ladder.program import (
    AssignmentStatement,
    Block,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Formula,
    Name,
    Number,
    Operand,
    Parallel,
    Path,
    Program,
    Rung,
    Series,
    Variable,
    operands_of,
    walk,
)
from server.ladder.references import occurrences
from server.ladder.xml_names import MOVE
from server.scan.arithmetic import Operation
from server.scan.assembler import Assembler, Bit, Elapsed, Signal, TimerState, Word
from server.scan.bit_strings import BIT_STRING_FUNCTIONS, unsigned_order
from server.scan.blocks import INSTANCES, BlockDeclaration, Instance, Timer
from server.scan.functions import FUNCTIONS as NUMBER_FUNCTIONS
from server.scan.functions import Destination, Function
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op

FUNCTIONS: dict[str, Function] = NUMBER_FUNCTIONS | BIT_STRING_FUNCTIONS
"""What other instructions do, by the name of the standard function."""

assert {kind.row.opcode for kind in CoilKind} <= set(Op.__members__), "every coil has an opcode"
assert {operator.row.xml for operator in Operator} == FUNCTIONS.keys() | Operation.__members__, (
    "every operator has an operation in scan.arithmetic, or a function in scan.functions or "
    "scan.bit_strings"
)


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
    saturate_counters: bool = False,
    decide: Callable[[str], int] | None = None,
) -> CompiledProgram:
    """Emit one scan of the program into ``asm``.

    ``inputs`` are the input points by address, ``signals`` further ones that the program reads by
    name without declaring them. ``power`` is the plane of the controller's supply: without it the
    program stands still, keeps RETAIN variables and loses the others. With
    ``observe`` every element's outgoing power keeps a plane of its own, for the live drawing. With
    ``exact_timers`` false a running timer may be over at any later scan (for proofs), unless a
    rung reads its ET: ``decide`` gives the plane that says so for a timer's name, kind and
    preset; by default a fresh choice. With ``saturate_counters`` a CTU or CTD whose CV no rung
    reads stops counting where Q can't change any more: Q is the same, and a search meets fewer
    states.
    """
    compiler = _Compiler(
        asm, observe, exact_timers, dict(signals or {}), saturate_counters=saturate_counters
    )
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
    timers = {name: i.state for name, i in compiler.instances.items() if isinstance(i, Timer)}
    return CompiledProgram(compiler.symbols, outputs, compiler.power, compiler.fault, timers, state)


def compile_network(asm: Assembler, network: Series, signals: Mapping[str, Signal]) -> int:
    """Emit a network without function blocks; returns the plane of its result.

    ``signals`` are the names that it may use.
    """
    compiler = _Compiler(asm, observe=False, exact_timers=True, symbols=dict(signals))
    return compiler.series(0, (), network, TRUE)


@dataclass(slots=True)
class _Compiler:
    """``waiting`` are the outputs of blocks that have still to run in this scan."""

    asm: Assembler
    observe: bool
    exact_timers: bool | frozenset[str]
    symbols: dict[str, Signal] = field(default_factory=dict)
    instances: dict[str, Instance] = field(default_factory=dict)
    retained: set[int] = field(default_factory=set)
    power: dict[tuple[int, Path], int] = field(default_factory=dict)
    durations: dict[str, int] = field(default_factory=dict)
    measured: set[str] = field(default_factory=set)
    saturate_counters: bool = False
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
        # A timer may be declared above the TIME variable that is its preset.
        self.durations = {
            variable.symbol.lower(): variable.initial or 0
            for variable in program.variables
            if variable.type == "TIME"
        }
        for variable in program.variables:
            first = len(self.asm.state_planes())
            name = variable.symbol.lower()
            if variable.type in BLOCK_TYPES:
                self.declare_instance(name, variable.type, blocks.get(name))
            elif variable.type != "TIME":
                self.symbols[name] = self.variable(variable, inputs)
            if variable.retain:
                self.retained.update(self.asm.state_planes()[first:])
        self.declare_bits(program)

    def declare_bits(self, program: Program) -> None:
        """Give the bits of WORDs that a rung names their planes."""
        for name in {found.name.lower() for found in occurrences(program)}:
            bit = bit_of(name)
            word = self.symbols.get(bit[0]) if bit else None
            if bit and isinstance(word, Word):
                self.symbols[name] = Bit(word.base + bit[1])

    def variable(self, variable: Variable, inputs: Mapping[str, Signal]) -> Signal:
        if variable.address and variable.address.upper().startswith("%I"):
            unwired: Signal = Bit(FALSE) if variable.type == "BOOL" else Word(self.asm.constant(0))
            return inputs.get(variable.address, unwired)
        initial = variable.initial or 0
        if variable.type == "BOOL":
            return Bit(self.asm.bit(bool(initial)))
        planes = self.asm.planes(INT_PLANES, initial & 0xFFFF)
        return Word(planes, signed=variable.type == "INT")

    def declare_instance(self, name: str, type_name: str, block: Block | None) -> None:
        declared = BlockDeclaration(
            name,
            BLOCK_TYPES[type_name],
            self.presets(block),
            counted=self.counted(name) or name in self.measured,
            short=self.saturate_counters and name not in self.counts_read,
            decide=self.decide,
        )
        instance = self.instances[name] = INSTANCES[type_name](self.asm, declared)
        for pin, signal in instance.outputs.items():
            self.symbols[f"{name}.{pin.lower()}"] = signal
            if isinstance(signal, Bit):
                self.waiting.add(signal.plane)

    def presets(self, block: Block | None) -> dict[str, int]:
        """Return the inputs of a block that stay the same, by pin."""
        wired = block.inputs if block else ()
        numbers = {w.pin: w.operand.value for w in wired if isinstance(w.operand, Number)}
        durations = {w.pin: self.duration(w.operand) for w in wired}
        return numbers | {pin: ms for pin, ms in durations.items() if ms is not None}

    def begin(self, power: int) -> int:
        """Return the place of SAVE, whose table is known only at the end."""
        return self.asm.emit(Op.SAVE, power, 0, 0)

    def counted(self, instance: str) -> bool:
        """Return whether a timer's scans are counted."""
        exact = self.exact_timers
        return exact if isinstance(exact, bool) else instance in exact

    # -- rungs --------------------------------------------------------------------------------

    def rung(self, number: int, rung: Rung) -> None:
        result = self.series(number, (), rung.network, TRUE)
        written = {self.plane(o.symbol) for o in rung.outputs if isinstance(o, Coil)}
        # The power may be a bit of a WORD that changes before its assignment is over.
        assigned = any(
            0 <= result - self.word(Name(output.target)) < INT_PLANES
            for output in rung.outputs
            if isinstance(output, AssignmentStatement)
        )
        if self.observe or assigned or (len(rung.outputs) > 1 and result in written):
            result = self.copied(result)
        self.power[number, ()] = result
        match rung.outputs:
            case (Coil(CoilKind.COIL, symbol),) if not self.observe:
                self.asm.move_to(self.plane(symbol), result)
            case outputs:
                for output in outputs:
                    self.output(output, result)

    def series(self, number: int, prefix: Path, series: Series, power: int) -> int:
        """Return the plane of the power that leaves; contacts in a row are one instruction."""
        closed, opened = [power], list[int]()
        for i, item in enumerate(series.items):
            path = (*prefix, i)
            match item:
                case Contact(kind, symbol):
                    match kind:
                        case ContactKind.OPEN:
                            closed.append(self.plane(symbol))
                        case ContactKind.CLOSED:
                            opened.append(self.plane(symbol))
                        case ContactKind.RISING:
                            closed.append(self.asm.rising(self.plane(symbol)))
                        case ContactKind.FALLING:
                            closed.append(self.asm.falling(self.plane(symbol)))
                case Comparison(left, relation, right):
                    closed.append(self.compare(left, relation, right))
                case Block():
                    closed, opened = [self.block(item, self.series_power(closed, opened))], []
                case Parallel() if not self.observe and not _blocks(item):
                    # What each branch takes from the left, all of them together take once.
                    closed.append(self.parallel(number, path, item, TRUE))
                case Parallel():
                    power = self.series_power(closed, opened)
                    closed, opened = [self.parallel(number, path, item, power)], []
            if self.observe:
                power = self.copied(self.series_power(closed, opened))
                self.power[number, path] = power
                closed, opened = [power], []
        return self.series_power(closed, opened)

    def parallel(self, number: int, path: Path, parallel: Parallel, power: int) -> int:
        joined = FALSE
        for j, branch in enumerate(parallel.branches):
            joined = self.asm.or_(joined, self.series(number, (*path, j), branch, power))
        return joined

    def series_power(self, closed: list[int], opened: list[int]) -> int:
        """Return the plane of the power after contacts; a copy of what a block may still write."""
        plane = self.asm.series(closed, opened)
        return self.copied(plane) if plane in self.waiting else plane

    def output(self, output: Coil | AssignmentStatement, power: int) -> None:
        asm = self.asm
        if isinstance(output, AssignmentStatement):
            self.assign(output, power)
            return
        asm.emit(Op[output.kind.row.opcode], self.plane(output.symbol), power)

    def assign(self, output: AssignmentStatement, power: int) -> None:
        target = Destination(self.word(Name(output.target)), power, self.fault)
        if not any(isinstance(operand, Formula) for operand in output.operands):
            operands = list(map(self.assigned, output.pins, output.operands))
            self.calculate(output.operator, target, operands)
            return
        # What goes wrong in between leaves the target as it was.
        inner = Destination(target.base, power, self.asm.temporary())
        self.asm.copy_to(inner.fault, FALSE)
        operands = list(map(self.assigned, output.pins, output.operands, repeat(inner)))
        well = self.asm.and_not(power, inner.fault)
        self.asm.emit(Op.SET, self.fault, inner.fault)
        self.calculate(output.operator, Destination(target.base, well, self.fault), operands)

    def calculate(
        self, operator: Operator | None, target: Destination, operands: Sequence[int]
    ) -> None:
        name = MOVE if operator is None else operator.row.xml
        if name == MOVE:
            self.asm.emit(Op.MOVE, target.base, *operands, target.power)
        elif name in FUNCTIONS:
            FUNCTIONS[name](self.asm, target, *operands)
        else:
            rest = (target.power, target.fault, Operation[name])
            self.asm.emit(Op.CALCULATE, target.base, *operands, *rest)

    def assigned(self, pin: Pin, operand: Calculated, within: Destination | None = None) -> int:
        """Return the plane of a BOOL operand of an assignment, or the base of a number's planes.

        ``within`` has the power and the fault of the statement that a result in between is for.
        """
        if isinstance(operand, Formula):
            assert within is not None, "a result in between has a statement"
            pins = operand.operator.row.pins
            taken = list(map(self.assigned, pins, operand.operands, repeat(within)))
            target = replace(within, base=self.asm.word())
            self.asm.emit(Op.MOVE, target.base, self.asm.constant(0), TRUE)
            self.calculate(operand.operator, target, taken)
            return target.base
        if pin.type == "BOOL":
            assert isinstance(operand, Name), f"{pin.name} takes a BOOL"
            return self.plane(operand.symbol)
        return self.word(operand)

    # -- operands -----------------------------------------------------------------------------

    def plane(self, symbol: str) -> int:
        signal = self.symbols[symbol.lower()]
        assert isinstance(signal, Bit), f"{symbol} is a BOOL"
        return signal.plane

    def copied(self, plane: int) -> int:
        """Return a temporary that keeps the plane's value when the plane is written again."""
        own = self.asm.temporary()
        self.asm.copy_to(own, plane)
        return own

    def duration(self, operand: Operand) -> int | None:
        """Return milliseconds of a literal or a TIME variable (nothing writes one).

        None for others.
        """
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

    def signed(self, *operands: Operand) -> bool:
        """Return whether none of two numbers that are compared is a WORD."""
        for each in operands:
            if isinstance(each, Number) and each.value > INT_MAX:
                return False
            signal = self.symbols[each.symbol.lower()] if isinstance(each, Name) else None
            if isinstance(signal, Word) and not signal.signed:
                return False
        return True

    def compare(self, left: Operand, relation: Relation, right: Operand) -> int:
        if self.duration(left) is not None:
            left, right = right, left
            relation = relation.mirrored
        ms = self.duration(right)
        if ms is not None:
            other = self.duration(left)
            if other is not None:
                return TRUE if relation.holds(other, ms) else FALSE
            assert isinstance(left, Name), "a duration is compared with ET"
            timer = self.symbols[left.symbol.lower()]
            assert isinstance(timer, Elapsed), f"{left.symbol} is a TIME"
            return self.compare_elapsed(timer, relation, ms)
        a, b = self.word(left), self.word(right)
        if relation.edges != (0, 1) and not self.signed(left, right):
            a, b = unsigned_order(self.asm, a), unsigned_order(self.asm, b)
        d = self.asm.temporary()
        less, equal, greater = relation.row.holds
        match relation.edges:
            case (0,):
                self.asm.emit(Op.LT, d, a, b)
                holds = less
            case (1,):
                self.asm.emit(Op.LT, d, b, a)
                holds = greater
            case _:
                self.asm.emit(Op.EQ, d, a, b)
                holds = equal
        return d if holds else self.asm.not_(d)

    def compare_elapsed(self, timer: Elapsed, relation: Relation, ms: int) -> int:
        _, equal, greater = relation.row.holds
        at_least = self.asm.elapsed_at_least(timer, ms)
        more = self.asm.elapsed_at_least(timer, ms, more=True)
        match relation.edges:
            case (0,):
                found, holds = at_least, greater
            case (1,):
                found, holds = more, greater
            case _:
                found, holds = self.asm.and_not(at_least, more), equal
        return found if holds else self.asm.not_(found)

    # -- function blocks ----------------------------------------------------------------------

    def block(self, block: Block, power: int) -> int:
        instance = self.instances[block.instance.lower()]
        wired = {each.pin: each for each in block.inputs}

        def pin(name: str) -> int:
            if name not in wired:
                return FALSE
            operand = wired[name].operand
            if not isinstance(operand, Name) or isinstance(
                self.symbols[operand.symbol.lower()], Word
            ):
                return self.word(operand)
            plane = self.plane(operand.symbol)
            return self.asm.not_(plane) if wired[name].negated else plane

        instance.run(power, pin)
        self.waiting -= {out.plane for out in instance.outputs.values() if isinstance(out, Bit)}
        return instance.power_out


def _blocks(parallel: Parallel) -> bool:
    """Return whether a function block stands in some branch."""
    return any(isinstance(element, Block) for _, element in walk(Series((parallel,))))


def _read(program: Program, pin: str) -> set[str]:
    """Instances whose output ``pin`` (``.et``, ``.cv``) a rung reads as a number."""
    operands: list[Operand | None] = []
    for rung in program.rungs:
        for _, element in walk(rung.network):
            if isinstance(element, Comparison):
                operands += (element.left, element.right)
            elif isinstance(element, Block):
                operands += (wired.operand for wired in element.inputs)
        for output in rung.outputs:
            if isinstance(output, AssignmentStatement):
                operands += operands_of(output.value)
    return {
        operand.symbol.lower().removesuffix(pin)
        for operand in operands
        if isinstance(operand, Name) and operand.symbol.lower().endswith(pin)
    }
