"""The physics kernel equals plain Python, to the bit."""

from dataclasses import dataclass

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.random import Generator, default_rng

from server.plant.physics import ABSENT, PhysicsOp, advance, insert_item, remove_items
from server.scan.instructions import WIDTH
from server.scan.lanes import LANES, plane_of
from tests.plant.plain_physics import LINE, PARAMETERS, PLANES, ROWS, SLOTS, Lane
from tests.plant.samples import PLAIN_OPS
from tests.scan.lane_run import lane_bits

LOOKED_AT = (0, 1, 6, 7, 8, 31, 32, 50, 63)
"""Lanes that are compared; at the ends and in the middle of whatever the compiler makes of them."""

Instruction = tuple[PhysicsOp, tuple[int, ...]]

INSTRUCTIONS: st.SearchStrategy[Instruction] = st.one_of(
    [st.tuples(st.just(op), plain.operands) for op, plain in PLAIN_OPS.items()]
)


@dataclass(slots=True)
class Memory:
    """Planes, quantities and parameters of 64 lanes."""

    bits: np.ndarray[tuple[int], np.dtype[np.uint64]]
    quantities: np.ndarray[tuple[int, int], np.dtype[np.float64]]
    parameters: np.ndarray[tuple[int, int], np.dtype[np.float64]]

    def lane(self, number: int) -> Lane:
        bits = [bool(lane_bits(word)[number]) for word in self.bits]
        return Lane(bits, self.quantities[:, number].tolist(), self.parameters[:, number].tolist())


def random_memory(rng: Generator) -> Memory:
    """Sizes from 0 to 2, places up to 5 m, and up to SLOTS items in each lane."""
    bits = np.array([plane_of(rng.random(LANES) < 0.5) for _ in range(PLANES)])
    parameters = rng.random((PARAMETERS, LANES)) * 2
    parameters[2] = rng.integers(1, 4, LANES)  # FEED's interval in scans ...
    parameters[3] = rng.integers(0, 3, LANES)  # ... and which items it marks
    parameters[12:20] *= 2.5
    parameters[20] = 0.1 + rng.random(LANES) * 0.5
    parameters[22] = 0.0
    quantities = rng.random((ROWS, LANES))
    quantities[8:12] = rng.integers(0, 3, (4, LANES))
    quantities[LINE:] = ABSENT
    quantities[ROWS - 1] = 0.0
    for lane in range(LANES):
        for front in rng.random(rng.integers(0, SLOTS + 1)) * 5:
            pitch = parameters[20, lane]
            insert_item(quantities, LINE, SLOTS, pitch, lane, front, int(rng.integers(0, 2)))
    return Memory(bits, quantities, parameters)


@settings(deadline=None)
@given(st.lists(INSTRUCTIONS, min_size=1, max_size=12), st.integers(0, 2**32))
def test_equals_plain_python_in_its_lane(instructions: list[Instruction], seed: int) -> None:
    memory = random_memory(default_rng(seed))
    lanes = {number: memory.lane(number) for number in LOOKED_AT}
    physics = np.zeros((len(instructions), WIDTH), np.int32)
    for row, (op, operands) in zip(physics, instructions, strict=True):
        row[: 1 + len(operands)] = (op, *operands)
    for _ in range(4):
        advance(physics, 0, len(physics), memory.bits, memory.quantities, memory.parameters)
        for lane in lanes.values():
            for op, operands in instructions:
                PLAIN_OPS[op].run(lane, *operands)
    for number, lane in lanes.items():
        found = memory.lane(number)
        assert found.q[: ROWS - 1] == lane.q[: ROWS - 1]
        assert found.bits == lane.bits


def fronts(quantities: np.ndarray[tuple[int, int], np.dtype[np.float64]], lane: int) -> list[float]:
    return [q for q in quantities[:SLOTS, lane].tolist() if q > ABSENT]


def empty_line() -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    quantities = np.full((3 * SLOTS + 1, LANES), ABSENT)
    quantities[-1] = 0.0
    return quantities


def test_items_are_kept_in_order_and_apart() -> None:
    q = empty_line()
    assert insert_item(q, 0, SLOTS, 0.3, 7, 1.0, 0)
    assert insert_item(q, 0, SLOTS, 0.3, 7, 2.0, 1)
    assert insert_item(q, 0, SLOTS, 0.3, 7, 1.5, 0)
    assert not insert_item(q, 0, SLOTS, 0.3, 7, 1.75, 0), "too near to the one ahead"
    assert not insert_item(q, 0, SLOTS, 0.3, 7, 1.25, 0), "too near to the one behind"
    assert fronts(q, 7) == [2.0, 1.5, 1.0]
    assert q[SLOTS : SLOTS + 3, 7].tolist() == [1, 0, 0], "the mark stays with its item"
    assert fronts(q, 6) == [], "other lanes have none"


def test_a_full_line_takes_no_further_item() -> None:
    q = empty_line()
    for number in range(SLOTS):
        assert insert_item(q, 0, SLOTS, 0.3, 0, float(number), 0)
    before = q.copy()
    assert not insert_item(q, 0, SLOTS, 0.3, 0, 9.0, 0)
    assert np.array_equal(q, before)


def test_clearing_takes_items_of_a_stretch_off() -> None:
    q = empty_line()
    for front in (0.5, 1.0, 1.5, 2.0):
        insert_item(q, 0, SLOTS, 0.3, 3, front, 0)
    assert remove_items(q, 0, SLOTS, 3, 1.0, 2.0) == 2
    assert fronts(q, 3) == [2.0, 0.5]
    assert remove_items(q, 0, SLOTS, 3, 1.0, 2.0) == 0
