"""The exhaustive search against z3: bounded model checking and k-induction on the same programs.

The transition relation is written a second time, symbolically (``tests.marking.symbolic``).
k-induction as in 'Interpolating Strong Induction' (CAV 2019): a property that holds in the first
k scans, and after any k scans in which it held, holds always.
"""

import pytest
import z3
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.ladder.elements import CoilKind, ContactKind
from server.ladder.program import (
    Block,
    BlockInput,
    Coil,
    Contact,
    Duration,
    Item,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)
from server.marking.proofs.search import MAX_CHOICES, Trail, search
from server.scan.assembler import Assembler, Bit
from server.scan.compiler import compile_network, compile_program
from server.scan.instructions import TRUE, Op
from tests.marking.symbolic import PERIOD_MS, State, SymbolicProgram

INPUTS = {"a": "%IX0.0", "b": "%IX0.1"}
BITS = {"x": "%QX0.0", "y": "%QX0.1", "m": None}
DEEPEST = 30
MOST_INDUCTION = 8

VARIABLES = (
    *(Variable(name, "BOOL", address) for name, address in INPUTS.items()),
    *(Variable(name, "BOOL", address) for name, address in BITS.items()),
    Variable("pause", "TON"),
)

contacts = st.builds(
    Contact,
    st.sampled_from([*ContactKind, ContactKind.OPEN, ContactKind.CLOSED]),
    st.sampled_from([*INPUTS, *BITS, *BITS]),
)
literals = st.builds(
    Contact,
    st.sampled_from([ContactKind.OPEN, ContactKind.CLOSED]),
    st.sampled_from([*INPUTS, *BITS]),
)
simple = st.lists(contacts, min_size=1, max_size=2).map(lambda items: Series(tuple(items)))
branches = st.lists(simple, min_size=2, max_size=2).map(lambda b: Parallel(tuple(b)))
coils = st.builds(Coil, st.sampled_from(list(CoilKind)), st.sampled_from(list(BITS)))


@st.composite
def small_programs(draw: st.DrawFn) -> Program:
    """One to four rungs over two inputs and three bits, with at most one TON."""
    rungs = []
    timed = draw(st.integers(0, 4))
    for number in range(draw(st.integers(1, 4))):
        items: list[Item] = list(draw(st.lists(contacts | branches, min_size=1, max_size=2)))
        if number == timed:
            preset = Duration(draw(st.sampled_from([10, 20, 30])))
            items.append(Block("pause", (BlockInput("PT", preset),)))
        rungs.append(Rung(Series(tuple(items)), (draw(coils),)))
    return Program("small", VARIABLES, tuple(rungs))


def searched(program: Program, forbidden: Series) -> Trail | None:
    """A shortest way to a scan in which ``forbidden`` holds, by the search."""
    asm = Assembler(PERIOD_MS)
    inputs = {address: Bit(asm.choice()) for address in INPUTS.values()}
    with asm.section("scan"):
        compiled = compile_program(asm, program, inputs, TRUE)
        bad = asm.temporary()
        asm.copy_to(bad, compile_network(asm, forbidden, compiled.symbols))
    machine = asm.machine()
    result = search(machine, (machine.sections["scan"],), (bad,), budget=200_000)
    [trail] = result.trails
    assert trail is not None or result.complete, "small programs have few states"
    return trail


def holds(forbidden: Series, state: State, inputs: State) -> z3.BoolRef:
    named = state | inputs
    terms = []
    for item in forbidden.items:
        assert isinstance(item, Contact)
        value = named[item.symbol]
        terms.append(value if item.kind is ContactKind.OPEN else z3.Not(value))
    return z3.And(*terms)


def scan_inputs(scan: int) -> State:
    return {name: z3.Bool(f"{name}@{scan}") for name in INPUTS}


def bounded(program: SymbolicProgram, forbidden: Series, depth: int) -> int | None:
    """The first scan, from 1, in which ``forbidden`` can hold, up to ``depth``."""
    solver = z3.Solver()
    state = program.initial()
    for scan in range(1, depth + 1):
        inputs = scan_inputs(scan)
        after = program.any_state(str(scan))
        stepped = program.step(state, inputs)
        solver.add(*(after[name] == stepped[name] for name in after))
        state = after
        if solver.check(holds(forbidden, state, inputs)) == z3.sat:
            return scan
    return None


def inductive(program: SymbolicProgram, forbidden: Series, k: int) -> bool:
    """Whether k scans without ``forbidden`` force the next scan to be without it."""
    solver = z3.Solver()
    state = program.any_state("i0")
    solver.add(program.legal(state))
    for scan in range(1, k + 2):
        inputs = scan_inputs(100 + scan)
        after = program.any_state(f"i{scan}")
        stepped = program.step(state, inputs)
        solver.add(*(after[name] == stepped[name] for name in after))
        state = after
        reached = holds(forbidden, state, inputs)
        solver.add(reached if scan == k + 1 else z3.Not(reached))
    return bool(solver.check() == z3.unsat)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(small_programs(), st.lists(literals, min_size=1, max_size=2))
def test_the_search_and_z3_agree(program: Program, terms: list[Contact]) -> None:
    forbidden = Series(tuple(terms))
    trail = searched(program, forbidden)
    symbolic = SymbolicProgram(program)
    if trail is not None:
        scans = len(trail.choices)
        assert bounded(symbolic, forbidden, scans) == scans, "and the trail is a shortest one"
        return
    for k in range(1, MOST_INDUCTION + 1):
        if inductive(symbolic, forbidden, k):
            assert bounded(symbolic, forbidden, k) is None
            return
    assert bounded(symbolic, forbidden, DEEPEST) is None


def test_seal_in_is_off_until_started() -> None:
    """run' = (start or run) and stop_ok: stopped and running in the same scan is unreachable."""
    seal_in = Parallel((Series((_on("a"),)), Series((_on("x"),))))
    program = Program("p", VARIABLES, (Rung(Series((seal_in, _on("b"))), (_coil("x"),)),))
    assert searched(program, Series((_on("x"), Contact(ContactKind.CLOSED, "b")))) is None
    trail = searched(program, Series((_on("x"), Contact(ContactKind.CLOSED, "a"))))
    assert trail == Trail(0, (0b11, 0b10)), "start with stop at rest, then let go"


def test_a_counter_modulo_five_never_reaches_seven() -> None:
    """x' = 0 if x = 4 else x + 1: 'x <> 7' holds (z3: 3-inductive; reference facts, run)."""
    asm = Assembler()
    x = asm.planes(3)
    with asm.section("scan"):
        at_four = asm.and_not(asm.and_not(x + 2, x + 1), x)
        carry = asm.and_(x, x + 1)
        high = asm.xor(x + 2, carry)
        middle = asm.xor(x + 1, x)
        low = asm.not_(x)
        for plane, value in ((x, low), (x + 1, middle), (x + 2, high)):
            asm.copy_to(plane, asm.and_not(value, at_four))
        seven = asm.and_(asm.and_(x, x + 1), x + 2)
    machine = asm.machine()
    result = search(machine, (machine.sections["scan"],), (seven,), budget=100)
    assert (result.complete, result.states, result.trails) == (True, 5, (None,))


def test_many_choices_are_tried_in_several_passes() -> None:
    asm = Assembler()
    choices = [asm.choice() for _ in range(9)]
    seen = asm.bit()
    with asm.section("scan"):
        every = TRUE
        for plane in choices:
            every = asm.and_(every, plane)
        asm.emit(Op.SET, seen, every)
        bad = asm.temporary()
        asm.copy_to(bad, every)
    machine = asm.machine()
    result = search(machine, (machine.sections["scan"],), (bad,), budget=100)
    assert result.trails == (Trail(0, (0b111111111,)),)


def test_the_budget_ends_a_search() -> None:
    asm = Assembler()
    free = asm.choice()
    counter = asm.planes(12)
    with asm.section("scan"):
        carry = free
        for plane in range(counter, counter + 12):
            following = asm.and_(carry, plane)
            asm.emit(Op.XOR, plane, plane, carry)
            carry = following
    machine = asm.machine()
    sections = (machine.sections["scan"],)
    assert not search(machine, sections, (), budget=100).complete
    assert search(machine, sections, (), budget=10_000).states == 4096


def test_too_many_choices_are_refused() -> None:
    asm = Assembler()
    for _ in range(MAX_CHOICES + 1):
        asm.choice()
    with asm.section("scan"):
        pass
    machine = asm.machine()
    with pytest.raises(ValueError, match="21 choices a scan are too many"):
        search(machine, (machine.sections["scan"],), (), budget=10)


def _on(name: str) -> Contact:
    return Contact(ContactKind.OPEN, name)


def _coil(name: str) -> Coil:
    return Coil(CoilKind.COIL, name)
