"""The assembler: memory, folding, names, timers' comparisons, listings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.scan.assembler import ALL_ONES, Assembler, Bit
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op
from server.scan.kernel import execute


def run(asm: Assembler) -> list[int]:
    """All planes after one pass over everything that was emitted."""
    machine = asm.machine()
    bits = machine.initial.copy()
    execute(machine.code, 0, len(machine.code), bits, machine.initial, machine.table)
    return [int(word) for word in bits]


def test_constants_fold_away() -> None:
    asm = Assembler()
    a = asm.control()
    assert asm.not_(TRUE) == FALSE
    assert asm.not_(FALSE) == TRUE
    assert [asm.and_(a, TRUE), asm.and_(TRUE, a), asm.or_(a, FALSE), asm.or_(FALSE, a)] == [a] * 4
    assert [asm.and_(a, FALSE), asm.and_(FALSE, a), asm.and_not(FALSE, a)] == [FALSE] * 3
    assert [asm.or_(a, TRUE), asm.or_(TRUE, a)] == [TRUE] * 2
    assert asm.and_not(a, FALSE) == a
    assert asm.and_not(a, TRUE) == FALSE
    assert len(asm.machine().code) == 0


@pytest.mark.parametrize("a", [0, 1])
@pytest.mark.parametrize("b", [0, 1])
@pytest.mark.parametrize("constant", [None, FALSE, TRUE])
def test_gates_compute_their_truth_tables(a: int, b: int, constant: int | None) -> None:
    """With planes, and with the constants FALSE and TRUE in place of the second."""
    asm = Assembler()
    x, y = asm.control(bool(a)), asm.control(bool(b)) if constant is None else constant
    b = b if constant is None else constant
    planes = {
        "not": (asm.not_(x), 1 - a),
        "and": (asm.and_(x, y), a & b),
        "or": (asm.or_(x, y), a | b),
        "and not": (asm.and_not(x, y), a & (1 - b)),
        "not and": (asm.and_not(y, x), b & (1 - a)),
        "xor": (asm.xor(x, y), a ^ b),
        "mux": (asm.mux(x, y, asm.not_(y)), b if a else 1 - b),
    }
    bits = run(asm)
    for name, (plane, value) in planes.items():
        assert bits[plane] == (ALL_ONES if value else 0), name


@given(st.lists(st.booleans(), max_size=9), st.lists(st.booleans(), max_size=8))
def test_a_series_of_any_length_conducts_when_every_contact_does(
    closed: list[bool], opened: list[bool]
) -> None:
    asm = Assembler()
    plane = asm.series([asm.control(on) for on in closed], [asm.control(on) for on in opened])
    assert run(asm)[plane] == (ALL_ONES if all(closed) and not any(opened) else 0)


def test_a_series_with_a_contact_that_never_conducts_is_nothing() -> None:
    asm = Assembler()
    contacts = [asm.control(True) for _ in range(3)]
    assert asm.series([*contacts, FALSE], []) == FALSE
    assert asm.series(contacts, [TRUE]) == FALSE
    assert asm.series([TRUE, TRUE], [FALSE]) == TRUE
    assert len(asm.machine().code) == 0


def test_moving_a_result_takes_a_copy_only_from_what_is_kept() -> None:
    asm = Assembler()
    a, b, kept, moved = asm.control(True), asm.control(True), asm.bit(), asm.bit()
    asm.move_to(kept, asm.and_(a, b))
    assert len(asm.machine().code) == 1
    asm.move_to(moved, kept)
    assert len(asm.machine().code) == 2
    bits = run(asm)
    assert bits[kept] == bits[moved] == ALL_ONES


@given(st.integers(-32768, 32767))
def test_a_number_is_16_planes_in_twos_complement(value: int) -> None:
    asm = Assembler()
    base = asm.constant(value)
    assert asm.constant(value) == base, "equal literals share their planes"
    bits = run(asm)
    raw = sum((bits[base + i] & 1) << i for i in range(INT_PLANES))
    assert raw - (raw >> 15 << 16) == value
    assert all(word in (0, ALL_ONES) for word in bits)


def test_a_name_is_given_once() -> None:
    asm = Assembler()
    asm.define("pump", Bit(asm.bit()))
    with pytest.raises(ValueError, match=r"The signal 'pump' is defined twice\."):
        asm.define("pump", Bit(asm.bit()))


def test_state_and_choices_are_told_apart_from_the_rest() -> None:
    asm = Assembler()
    asm.temporary()
    asm.control()
    kept, choice, word = asm.bit(), asm.choice(), asm.planes(3, initial=0b101)
    machine = asm.machine()
    assert machine.state == (kept, word, word + 1, word + 2)
    assert machine.choices == (choice,)
    assert machine.initial[list(machine.state)].tolist() == [0, ALL_ONES, 0, ALL_ONES]


@given(
    st.sampled_from([1, 7, 10, 100]),
    st.integers(0, 300),
    st.integers(0, 320),
    st.integers(0, 40),
)
def test_elapsed_time_is_compared_to_the_millisecond(
    period_ms: int, preset_ms: int, ms: int, scans: int
) -> None:
    """After any number of scans: ET is min(scans * period, preset)."""
    asm = Assembler(period_ms)
    timer = asm.timer_state(preset_ms)
    asm.run_timer(Op.TON, TRUE, timer)
    at_least = asm.elapsed_at_least(timer.elapsed, ms)
    more = asm.elapsed_at_least(timer.elapsed, ms, more=True)
    machine = asm.machine()
    bits = machine.initial.copy()
    for _ in range(scans + 1):
        execute(machine.code, 0, len(machine.code), bits, machine.initial, machine.table)
    et = min(scans * period_ms, preset_ms)
    assert bits[timer.q] == (ALL_ONES if et == preset_ms else 0)
    assert bits[at_least] == (ALL_ONES if et >= ms else 0)
    assert bits[more] == (ALL_ONES if et > ms else 0)


def test_every_opcode_has_a_number_of_its_own() -> None:
    assert len({int(op) for op in Op}) == len(Op.__members__)


def test_machines_share_no_memory() -> None:
    asm = Assembler()
    asm.not_(asm.control())
    first, second = asm.machine(), asm.machine()
    first.initial[:] = 7
    first.code[:] = 7
    assert not np.array_equal(first.initial, second.initial)
    assert not np.array_equal(first.code, second.code)
