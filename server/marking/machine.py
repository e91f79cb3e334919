"""An exercise and a program, assembled into one machine: devices, rungs, plant, monitors."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from server.ladder.points import Direction
from server.ladder.program import Program
from server.marking.check import Monitor, Pattern
from server.marking.coverage.saboteurs import Sabotage
from server.marking.exercise import Exercise
from server.marking.expression import Expression
from server.marking.kept import kept
from server.marking.scenario import Action, hand_moves_in
from server.marking.shadows import REQUIREMENT, Outputs, compile_shadows, emit_unlike
from server.marking.thresholds import Thresholds
from server.plant.step import PlantStep
from server.plant.switchboard import Switchboard
from server.plant.track import ItemRows
from server.scan.assembler import Assembler, Bit, Machine, Quantity, Signal, Word
from server.scan.compiler import CompiledProgram, compile_network, compile_program
from server.scan.instructions import FALSE, TRUE, Op

LAYOUT = {"scan": ("inputs", "program", "outputs"), "plant": ("plant",), "monitors": ("monitors",)}
"""How the sections of a concrete machine follow from the parts that are assembled."""

HAND = "hand"
"""The choice of an abstract machine that lets a hand move items and set quantities."""


_Judging: TypeAlias = tuple[tuple[Pattern, ...], tuple[Monitor, ...], dict[tuple[int, int], int]]
"""Checks, their monitors, and the numbers of these by requirement and check."""


class NotAbstract(ValueError):
    """A condition speaks of something that the abstract plant does not have."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where scenarios begin: what is done to the plant, and what the abstract planes then are."""

    actions: tuple[Action, ...]
    planes: dict[int, bool]


@dataclass(frozen=True, slots=True)
class Assembled:
    """A machine and where to find things in it.

    ``signals`` has everything by lower-case name; ``checks`` and ``monitors`` belong together, and
    ``monitor_numbers`` finds them by requirement and check number. ``conditions`` are the planes
    of the scenarios' waits by their text; ``items`` is where a conveyor's items stand. Lanes run
    while ``running`` is TRUE. ``rates`` are the plant's parameters that replays vary. ``starts``
    are the beginnings of an abstract machine, ``edges`` the numbers at which each of its
    transmitters' points passes from stretch to stretch.
    """

    machine: Machine
    program: CompiledProgram
    checks: tuple[Pattern, ...]
    monitors: tuple[Monitor, ...]
    monitor_numbers: dict[tuple[int, int], int]
    conditions: dict[str, int]
    signals: dict[str, Signal]
    items: ItemRows | None
    running: int
    rates: frozenset[str] = frozenset()
    starts: tuple[Start, ...] = ()
    edges: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def plane(self, name: str) -> int:
        """Return the plane of a BOOL."""
        signal = self.signals[name.lower()]
        assert isinstance(signal, Bit), f"{name} is a BOOL"
        return signal.plane

    def row(self, name: str) -> int:
        """Return the row of a quantity."""
        signal = self.signals[name.lower()]
        assert isinstance(signal, Quantity), f"{name} is a quantity"
        return signal.row


def assemble(
    exercise: Exercise,
    program: Program,
    *,
    observe: bool = False,
    faults: Iterable[str] | None = None,
    blink_ms: int = 0,
) -> Assembled:
    """Assemble the concrete machine: program, devices, plant, observer and monitors.

    The devices can have the given ``faults`` (control names), or all of theirs if None. With
    ``blink_ms`` there are saboteurs of the program (``coverage.saboteurs``).

    With ``observe`` the power behind every element keeps a plane of its own.
    """
    return Frame(exercise, faults).assembled(program, observe=observe, blink_ms=blink_ms)


class ProgramImage:
    """What the rest of a machine reads of the program in it: output points and named bits.

    ``outputs`` are the points by address.
    """

    def __init__(self, exercise: Exercise, asm: Assembler) -> None:
        self._exercise = exercise
        self.outputs: dict[str, Signal] = {
            point.address: Bit(asm.temporary()) if point.type == "BOOL" else Word(asm.word())
            for point in exercise.points
            if point.direction is Direction.OUTPUT
        }
        self._named_bits = {bit.symbol: asm.temporary() for bit in exercise.internal_bits}
        for symbol, plane in self._named_bits.items():
            asm.define(symbol, Bit(plane))

    def fill(self, asm: Assembler, program: Program, compiled: CompiledProgram) -> None:
        """Emit the copies of what a program has written; FALSE or 0 for what it does not have."""
        for address, image in self.outputs.items():
            written = compiled.outputs.get(address)
            if isinstance(image, Word):
                base = written.base if isinstance(written, Word) else asm.constant(0)
                asm.emit(Op.MOVE, image.base, base, TRUE)
            elif isinstance(image, Bit):
                asm.copy_to(image.plane, written.plane if isinstance(written, Bit) else FALSE)
        view = self._exercise.view(program)
        for symbol, plane in self._named_bits.items():
            own = view.own_name(symbol)
            signal = compiled.symbols[own.lower()] if own is not None else None
            asm.copy_to(plane, signal.plane if isinstance(signal, Bit) else FALSE)


class Frame:
    """The concrete machine of an exercise without a program: the same for all that are tried in it.

    The devices can have the given ``faults`` (control names), or all of theirs if None.
    """

    def __init__(self, exercise: Exercise, faults: Iterable[str] | None = None) -> None:
        self._asm = asm = Assembler(exercise.period_ms)
        self._exercise = exercise
        self._step = step = PlantStep(exercise.plant, asm)
        board = Switchboard(asm, None if faults is None else frozenset(faults))
        builder = MachineBuilder(exercise, asm, step)
        self._running = asm.control(True)
        builder.find_thresholds()
        self._power = power = board.supply()
        with asm.section("inputs"):
            self._inputs = builder.inputs(board, power)
        self._image = image = ProgramImage(exercise, asm)
        with asm.section("outputs"):
            actuators = board.outputs(exercise.points, image.outputs, power)
        with asm.section("plant"):
            step.emit(actuators)
        with asm.section("monitors"):
            builder.observer()
            builder.unlike(image.outputs, power)
            self._conditions = {e.text: builder.condition(e) for e in _waits(exercise)}
            self._judging = builder.monitors(range(len(exercise.requirements)), self._running)
        self._observed = builder.observed

    def assembled(self, program: Program, *, observe: bool = False, blink_ms: int = 0) -> Assembled:
        """Return the machine with a program in it; ``observe``, ``blink_ms`` as in ``assemble``."""
        asm, power = self._asm.fork(), self._power
        with asm.section("program"):
            compiled = compile_program(asm, program, self._inputs, power, observe=observe)
            if blink_ms:
                points = self._exercise.points
                compiled = Sabotage(asm, blink_ms).emit(program, compiled, points, power)
            self._image.fill(asm, program, compiled)
        checks, monitors, numbers = self._judging
        return Assembled(
            machine=asm.machine(LAYOUT),
            program=compiled,
            checks=checks,
            monitors=monitors,
            monitor_numbers=numbers,
            conditions=self._conditions,
            signals={name.lower(): each for name, each in asm.symbols.items()} | self._observed,
            items=self._step.items,
            running=self._running,
            rates=frozenset(self._step.rates),
        )


@kept
def kept_frame(exercise: Exercise, faults: frozenset[str] | None) -> Frame:
    """Return the frame of an exercise against which program after program is marked."""
    return Frame(exercise, faults)


def _waits(exercise: Exercise) -> Iterable[Expression]:
    waits = (step.when for scenario in exercise.scenarios for step in scenario.steps)
    return {e.text: e for e in waits if e is not None}.values()


@dataclass(slots=True)
class MachineBuilder:
    """The parts that the concrete and the abstract machine have in common."""

    exercise: Exercise
    asm: Assembler
    step: PlantStep
    only: frozenset[int] | None = None
    thresholds: Thresholds = field(init=False)
    shadows: tuple[Outputs, ...] = ()
    observed: dict[str, Signal] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.thresholds = Thresholds(self.step)

    def signals(self) -> dict[str, Signal]:
        """Return everything that has a name in the machine, by lower-case name."""
        named = {name.lower(): signal for name, signal in self.asm.symbols.items()}
        return named | self.observed

    def find_thresholds(self) -> None:
        """Ask the plant for every boundary that a condition compares a quantity with."""
        wanted = [
            expression
            for number, requirement in enumerate(self.exercise.requirements)
            if self.only is None or number in self.only
            for check in requirement.checks
            for expression in check.conditions().values()
        ]
        if self.only is None:
            wanted += _waits(self.exercise)
        if self.looks_twice:
            wanted += [free.when for free in self.exercise.free]
        self.thresholds.ask(wanted)

    def permit_hand(self) -> None:
        """Let a hand do, as a free choice, what the scenarios let it do."""
        moves = hand_moves_in(self.exercise.scenarios)
        if moves:
            hand = self.asm.choice()
            self.asm.define(HAND, Bit(hand))
            self.step.permit_hand(hand, moves.quantities, items=moves.items)

    def inputs(self, board: Switchboard, power: int) -> dict[str, Signal]:
        """Emit the input stage, and what else reads it beside the program: the references."""
        inputs = board.inputs(self.exercise.points, self.step.senses)
        if self.looks_twice:
            self.shadows = compile_shadows(
                self.asm,
                self.exercise.references,
                inputs,
                power,
                saturate_counters=self.only is not None,
            )
        return inputs

    def observer(self) -> None:
        """Assemble the exercise's own rungs beside the program; they never lose their supply."""
        observer = self.exercise.observer
        if observer.rungs:
            compiled = compile_program(self.asm, observer, {}, TRUE, signals=self.judging_signals())
            self.observed = {
                name: signal for name, signal in compiled.symbols.items() if "?" not in name
            }

    @property
    def looks_twice(self) -> bool:
        """Whether a requirement of this machine compares the program with the references."""
        wanted = range(len(self.exercise.requirements)) if self.only is None else self.only
        return any(self.exercise.requirements[number].id == REQUIREMENT for number in wanted)

    def unlike(self, outputs: Outputs, power: int) -> None:
        """Add the signals ``unlike.<output>``, if a requirement asks for them."""
        if self.shadows:
            exercise = self.exercise
            emit_unlike(
                self.asm,
                exercise.points,
                outputs,
                self.shadows,
                exercise.free,
                power,
                self.condition,
            )

    def judging_signals(self) -> dict[str, Signal]:
        """Return the signals that the observer and conditions may name, thresholds included."""
        return self.signals() | self.thresholds.signals()

    def monitors(self, wanted: Iterable[int], running: int) -> _Judging:
        checks: list[Pattern] = []
        monitors: list[Monitor] = []
        numbers: dict[tuple[int, int], int] = {}
        for requirement in wanted:
            for index, check in enumerate(self.exercise.requirements[requirement].checks):
                if isinstance(check, Pattern):
                    numbers[requirement, index] = len(monitors)
                    checks.append(check)
                    monitors.append(check.monitor(self.asm, self.condition, running))
        return tuple(checks), tuple(monitors), numbers

    def monitors_or_not(self, requirement: int) -> _Judging | NotAbstract:
        """Return what judges a requirement, or what the abstract plant does not have."""
        try:
            return self.monitors([requirement], TRUE)
        except NotAbstract as missing:
            return missing

    def condition(self, expression: Expression) -> int:
        """Compile a condition; return its plane. Raises NotAbstract where a signal is missing."""
        network = self.thresholds.network(expression.network)
        signals = self.judging_signals()
        for name in Expression(expression.text, network).names():
            if name not in signals:
                raise NotAbstract(f"The abstract plant has no {name}.")
        return compile_network(self.asm, network, signals)
