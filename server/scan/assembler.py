"""The assembler: allocates planes and quantities, emits instructions, keeps the symbol table.

A *machine* is one instruction array with named sections and its memory at a cold start. The
input stage, the program, the output stage, the abstract plant and the monitors are all written
with the same few methods, so that one kernel runs them all.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field, fields, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.scan.instructions import FALSE, INT_PLANES, TRUE, WIDTH, Op

ALL_ONES = 0xFFFFFFFFFFFFFFFF

_GATES = (Op.COPY, Op.NOT, Op.AND, Op.OR, Op.ANDN, Op.XOR, Op.MUX, Op.SERIES)


@dataclass(frozen=True, slots=True)
class Bit:
    """A BOOL: one plane."""

    plane: int


@dataclass(frozen=True, slots=True)
class Word:
    """An INT or, if not ``signed``, a WORD: 16 planes from ``base`` on, lowest bit first.

    An INT is in two's complement.
    """

    base: int
    signed: bool = True


@dataclass(frozen=True, slots=True)
class Elapsed:
    """A timer's ET: counts scans from ``start`` up to 2**planes, then stands at zero.

    ET in milliseconds is ``min(scans * period_ms, preset_ms)`` with
    ``scans = (count - start) mod 2**planes``.
    """

    base: int
    planes: int
    start: int
    period_ms: int
    preset_ms: int


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number of the plant: one row of 64 floats, in ``unit``."""

    row: int
    unit: str = ""


@dataclass(frozen=True, slots=True)
class TimerState:
    """The planes of one TON, TOF or TP: Q, the input in the scan before, and ET."""

    q: int
    before: int
    elapsed: Elapsed


Signal: TypeAlias = Bit | Word | Elapsed | Quantity


@dataclass(frozen=True, slots=True)
class CodeRange:
    """A half-open range of instructions."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Machine:
    """Everything that runs: code, memory at a cold start, tables and names.

    ``code`` is uint32[n, WIDTH], ``initial`` uint64[planes], ``quantities`` float64[rows, 64] at
    the start, ``parameters`` float64[rows, 64], ``table`` int32[rows, 2] for SAVE and RESTORE.
    ``physics`` int32[n, WIDTH] holds the concrete plant's instructions (``plant.physics``).
    ``state`` lists the planes that carry something from one scan to the next.
    """

    code: NDArray[np.uint32]
    physics: NDArray[np.int32]
    initial: NDArray[np.uint64]
    table: NDArray[np.int32]
    quantities: NDArray[np.float64]
    parameters: NDArray[np.float64]
    parameter_rows: dict[str, int]
    sections: dict[str, CodeRange]
    physics_sections: dict[str, CodeRange]
    symbols: dict[str, Signal]
    state: tuple[int, ...]
    choices: tuple[int, ...]
    period_ms: int


@dataclass(slots=True)
class Assembler:
    """Builds one machine; ``period_ms`` is the scan period."""

    period_ms: int = 10
    symbols: dict[str, Signal] = field(default_factory=dict)
    _code: list[tuple[int, ...]] = field(default_factory=list)
    _initial: list[int] = field(default_factory=lambda: [0, ALL_ONES])
    _state: list[int] = field(default_factory=list)
    _temporaries: set[int] = field(default_factory=set)
    _choices: list[int] = field(default_factory=list)
    _table: list[tuple[int, int]] = field(default_factory=list)
    _quantities: list[float] = field(default_factory=list)
    _parameters: list[float] = field(default_factory=list)
    _constants: dict[int, int] = field(default_factory=dict)
    _sections: dict[str, CodeRange] = field(default_factory=dict)
    _physics: list[tuple[int, ...]] = field(default_factory=list)
    _physics_sections: dict[str, CodeRange] = field(default_factory=dict)
    _parameter_rows: dict[str, int] = field(default_factory=dict)

    # -- memory -------------------------------------------------------------------------------

    def temporary(self) -> int:
        """Return a plane that holds nothing from one scan to the next."""
        self._initial.append(0)
        plane = len(self._initial) - 1
        self._temporaries.add(plane)
        return plane

    def word(self) -> int:
        """Return the base of an INT that holds nothing from one scan to the next."""
        base, *_ = [self.temporary() for _ in range(INT_PLANES)]
        return base

    def planes(self, count: int, initial: int = 0) -> int:
        """``count`` consecutive state planes that start from the bits of ``initial``."""
        base = len(self._initial)
        self._initial += [ALL_ONES if (initial >> i) & 1 else 0 for i in range(count)]
        self._state += range(base, base + count)
        return base

    def bit(self, initial: bool = False) -> int:
        """Return one state plane."""
        return self.planes(1, int(initial))

    def control(self, initial: bool = False) -> int:
        """Return a plane that is set from outside: a control, a fault, a choice of the plant."""
        plane = self.temporary()
        self._initial[plane] = ALL_ONES if initial else 0
        return plane

    def choice(self) -> int:
        """Return a control plane that the exhaustive search tries both ways in every scan."""
        plane = self.control()
        self._choices.append(plane)
        return plane

    def constant(self, value: int) -> int:
        """Return the base of 16 planes that hold an INT literal."""
        value &= 0xFFFF
        if value not in self._constants:
            base = len(self._initial)
            self._initial += [ALL_ONES if (value >> i) & 1 else 0 for i in range(INT_PLANES)]
            self._constants[value] = base
        return self._constants[value]

    def constant_at(self, base: int) -> int | None:
        """Return the literal, 0 to 65535, whose planes begin there; None for other numbers."""
        return next((value for value, at in self._constants.items() if at == base), None)

    def quantity(self, initial: float = 0.0) -> int:
        """Return a row of 64 floats that the plant's physics changes."""
        self._quantities.append(initial)
        return len(self._quantities) - 1

    def parameter(self, name: str, value: float) -> int:
        """Return a row of 64 floats that stay as they are during a run.

        A caller may vary them by lane.
        """
        self._parameters.append(value)
        self._parameter_rows[name] = len(self._parameters) - 1
        return self._parameter_rows[name]

    def state_planes(self) -> tuple[int, ...]:
        """Return all state planes so far, in order of allocation."""
        return tuple(self._state)

    def choice_planes(self) -> tuple[int, ...]:
        """Return all choices so far, in order of allocation."""
        return tuple(self._choices)

    # -- names and sections -------------------------------------------------------------------

    def define(self, name: str, signal: Signal) -> None:
        """Give a signal a name; each name once."""
        if name in self.symbols:
            raise ValueError(f"The signal {name!r} is defined twice.")
        self.symbols[name] = signal

    @contextmanager
    def section(self, name: str) -> Iterator[None]:
        """Everything emitted inside belongs to the named section."""
        first = len(self._code)
        yield
        self._sections[name] = CodeRange(first, len(self._code))

    @contextmanager
    def physics_section(self, name: str) -> Iterator[None]:
        """Emit physics into the named section, ``advance`` or ``sense``, while the block runs."""
        first = len(self._physics)
        yield
        self._physics_sections[name] = CodeRange(first, len(self._physics))

    # -- instructions -------------------------------------------------------------------------

    def emit(self, op: Op, *operands: int) -> int:
        """Append one instruction; returns its number."""
        row = (int(op), *operands)
        self._code.append(row + (0,) * (WIDTH - len(row)))
        return len(self._code) - 1

    def replace(self, number: int, op: Op, *operands: int) -> None:
        """Write an instruction over an earlier one."""
        row = (int(op), *operands)
        self._code[number] = row + (0,) * (WIDTH - len(row))

    def emit_physics(self, op: int, *operands: int) -> None:
        """Append one instruction of the concrete plant."""
        row = (int(op), *operands)
        self._physics.append(row + (0,) * (WIDTH - len(row)))

    def copy_to(self, target: int, a: int) -> None:
        """``target := a``."""
        self.emit(Op.COPY, target, a)

    def move_to(self, target: int, a: int) -> None:
        """``target := a``. If ``a`` is a temporary, nothing else may read it: it needs no copy."""
        op, d, *operands = self._code[-1] if self._code else (Op.COPY, FALSE)
        if op in _GATES and d == a and a in self._temporaries:
            self.replace(len(self._code) - 1, Op(op), target, *operands)
        else:
            self.copy_to(target, a)

    def not_(self, a: int) -> int:
        """Return a new temporary: not a."""
        if a in (FALSE, TRUE):
            return TRUE - a
        d = self.temporary()
        self.emit(Op.NOT, d, a)
        return d

    def and_(self, a: int, b: int) -> int:
        """Return a new temporary: a and b. TRUE and FALSE fold away."""
        if a == TRUE or b == FALSE:
            return b
        if b == TRUE or a == FALSE:
            return a
        d = self.temporary()
        self.emit(Op.AND, d, a, b)
        return d

    def or_(self, a: int, b: int) -> int:
        """Return a new temporary: a or b. TRUE and FALSE fold away."""
        if a == FALSE or b == TRUE:
            return b
        if b == FALSE or a == TRUE:
            return a
        d = self.temporary()
        self.emit(Op.OR, d, a, b)
        return d

    def and_not(self, a: int, b: int) -> int:
        """Return a new temporary: a and not b. TRUE and FALSE fold away."""
        if a == FALSE or b == FALSE:
            return a
        if a == TRUE or b == TRUE:
            return self.not_(b)
        d = self.temporary()
        self.emit(Op.ANDN, d, a, b)
        return d

    def series(self, closed: Sequence[int], opened: Sequence[int]) -> int:
        """Return all of ``closed`` and none of ``opened``: a new temporary, or a plane itself.

        What a chain of gates would say, in as few instructions as possible.
        """
        yes = [plane for plane in closed if plane != TRUE]
        no = [plane for plane in opened if plane != FALSE]
        if FALSE in yes or TRUE in no:
            return FALSE
        while len(yes) + len(no) > 2 or len(no) == 2:
            d = self.temporary()
            first = (yes[:4] + [TRUE] * 4)[:4] + (no[:3] + [FALSE] * 3)[:3]
            self.emit(Op.SERIES, d, *first)
            yes, no = [d, *yes[4:]], no[3:]
        if no:
            return self.and_not(yes[0] if yes else TRUE, no[0])
        yes += [TRUE, TRUE]
        return self.and_(yes[0], yes[1])

    def xor(self, a: int, b: int) -> int:
        """Return a new temporary: a or b but not both."""
        d = self.temporary()
        self.emit(Op.XOR, d, a, b)
        return d

    def mux(self, select: int, a: int, b: int) -> int:
        """Return a new temporary: a where select, else b."""
        d = self.temporary()
        self.emit(Op.MUX, d, select, a, b)
        return d

    def rising(self, a: int, before: bool = False) -> int:
        """Return a new temporary: a is TRUE and was not in the scan before."""
        return self.edge(a, self.bit(before))

    def edge(self, a: int, memory: int) -> int:
        """Return a new temporary: a is TRUE and ``memory`` not; ``memory := a``."""
        if a == FALSE:
            return FALSE
        d = self.temporary()
        self.emit(Op.RISE, d, a, memory)
        return d

    def falling(self, a: int, before: bool = False) -> int:
        """Return a new temporary: a is FALSE and was TRUE in the scan before."""
        d, m = self.temporary(), self.bit(before)
        self.emit(Op.FALL, d, a, m)
        return d

    def scans(self, duration_ms: int) -> int:
        """Whole scans that a duration takes, rounded up."""
        return -(-duration_ms // self.period_ms)

    def timer_state(self, preset_ms: int) -> TimerState:
        """Return the planes of a timer with the given preset, at rest."""
        count = self.scans(preset_ms)
        planes = count.bit_length()
        start = (1 << planes) - count if count else 0
        q, before = self.bit(), self.bit()
        elapsed = Elapsed(self.planes(planes, start), planes, start, self.period_ms, preset_ms)
        return TimerState(q, before, elapsed)

    def run_timer(self, op: Op, power: int, timer: TimerState) -> None:
        """Emit one scan of a TON, TOF or TP whose input is the plane ``power``."""
        elapsed = timer.elapsed
        if elapsed.planes:
            operands = (timer.before, elapsed.base, elapsed.planes, elapsed.start)
            self.emit(op, timer.q, power, *operands)
        else:
            self.copy_to(timer.q, FALSE if op is Op.TP else power)

    def elapsed_at_least(self, timer: Elapsed, ms: int, *, more: bool = False) -> int:
        """Return a temporary: ET >= ms (with ``more``: ET > ms)."""
        if ms > timer.preset_ms or (more and ms == timer.preset_ms):
            return FALSE
        scans = ms // self.period_ms + 1 if more else self.scans(ms)
        if scans <= 0:
            return TRUE
        over = self.temporary()
        self.emit(Op.UGE, over, timer.base, timer.planes, 1)
        done = self.not_(over)  # the count stands at zero: the time is over
        if timer.start + scans >= 1 << timer.planes:
            return done
        running = self.temporary()
        self.emit(Op.UGE, running, timer.base, timer.planes, timer.start + scans)
        return self.or_(done, running)

    # -- result -------------------------------------------------------------------------------

    def retention(self, rows: list[tuple[int, bool]]) -> tuple[CodeRange, CodeRange]:
        """Table ranges for SAVE and RESTORE over ``rows`` of (plane, retained)."""
        kept = [(plane, self.temporary()) for plane, retained in rows if retained]
        lost = [(plane, -1) for plane, retained in rows if not retained]
        first = len(self._table)
        self._table += kept + lost
        return CodeRange(first, first + len(kept)), CodeRange(first, len(self._table))

    def fork(self) -> "Assembler":
        """Return an assembler that goes on from here and leaves this one as it is."""
        return replace(self, **{each.name: copy(getattr(self, each.name)) for each in fields(self)})

    def machine(self, layout: Mapping[str, Sequence[str]] | None = None) -> Machine:
        """Return the finished machine, in fresh arrays.

        ``layout`` names the sections to be made of those that were emitted, in another order.
        """
        code = np.array(self._code, np.uint32).reshape(-1, WIDTH)
        sections = dict(self._sections)
        if layout is not None:
            pieces: list[NDArray[np.uint32]] = []
            for name, parts in layout.items():
                first = sum(map(len, pieces))
                pieces += [code[sections[p].first : sections[p].last] for p in parts]
                sections[name] = CodeRange(first, sum(map(len, pieces)))
            sections = {name: sections[name] for name in layout}
            code = np.concatenate(pieces)
        spread = np.ones((1, 64))
        return Machine(
            code=code,
            physics=np.array(self._physics, np.int32).reshape(-1, WIDTH),
            initial=np.array(self._initial, np.uint64),
            table=np.array(self._table, np.int32).reshape(-1, 2),
            quantities=np.array(self._quantities, np.float64).reshape(-1, 1) * spread,
            parameters=np.array(self._parameters, np.float64).reshape(-1, 1) * spread,
            parameter_rows=dict(self._parameter_rows),
            sections=sections,
            physics_sections=dict(self._physics_sections),
            symbols=dict(self.symbols),
            state=tuple(self._state),
            choices=tuple(self._choices),
            period_ms=self.period_ms,
        )
