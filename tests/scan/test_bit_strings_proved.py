"""The gates of each function of WORDs against its meaning, for all words at once (z3).

The meanings are those of IEC 61131-3's tables of bitwise and bit shift functions and of its rule
that a negative N is an error (from memory), in z3's own words.
"""

from collections.abc import Callable

import pytest
import z3

from server.ladder.elements import Operator
from server.scan.assembler import Assembler
from server.scan.bit_strings import BIT_STRING_FUNCTIONS
from server.scan.functions import Destination
from server.scan.instructions import FALSE, INT_PLANES, TRUE, WIDTH, Op

Meaning = Callable[..., z3.BitVecRef]

MEANINGS: dict[str, Meaning] = {
    "NOT": lambda a: ~a,
    "AND": lambda a, b: a & b,
    "OR": lambda a, b: a | b,
    "XOR": lambda a, b: a ^ b,
    "SHL": lambda a, n: a << n,
    "SHR": z3.LShR,
    "ROL": z3.RotateLeft,
    "ROR": z3.RotateRight,
    "INT_TO_WORD": lambda a: a,
    "WORD_TO_INT": lambda a: a,
}
_SHIFTS = ("SHL", "SHR", "ROL", "ROR")


class Planes:
    """Memory as one formula for each plane."""

    def __init__(self) -> None:
        self.bits: dict[int, z3.BoolRef] = {FALSE: z3.BoolVal(False), TRUE: z3.BoolVal(True)}

    def put(self, base: int, word: z3.BitVecRef) -> None:
        for i in range(INT_PLANES):
            self.bits[base + i] = z3.Extract(i, i, word) == 1

    def word(self, base: int) -> z3.BitVecRef:
        planes = [z3.If(self.bits[base + i], z3.BitVecVal(1, 1), z3.BitVecVal(0, 1)) for i in _ALL]
        return z3.Concat(*reversed(planes))

    def run(self, op: Op, at: list[int]) -> None:
        bits = self.bits
        match op:
            case Op.COPY:
                bits[at[0]] = bits[at[1]]
            case Op.NOT:
                bits[at[0]] = z3.Not(bits[at[1]])
            case Op.AND:
                bits[at[0]] = z3.And(bits[at[1]], bits[at[2]])
            case Op.OR:
                bits[at[0]] = z3.Or(bits[at[1]], bits[at[2]])
            case Op.ANDN:
                bits[at[0]] = z3.And(bits[at[1]], z3.Not(bits[at[2]]))
            case Op.XOR:
                bits[at[0]] = z3.Xor(bits[at[1]], bits[at[2]])
            case Op.MUX:
                bits[at[0]] = z3.If(bits[at[1]], bits[at[2]], bits[at[3]])
            case Op.SET:
                bits[at[0]] = z3.Or(bits[at[0]], bits[at[1]])
            case Op.MOVE:
                for i in _ALL:
                    bits[at[0] + i] = z3.If(bits[at[2]], bits[at[1] + i], bits[at[0] + i])
            case other:
                raise AssertionError(other)


_ALL = range(INT_PLANES)
CONSTANTS = (0, 1, 5, 15, 16, 17, 32767, -1)


@pytest.mark.parametrize("aliased", [False, True], ids=["apart", "own operand"])
@pytest.mark.parametrize("name", BIT_STRING_FUNCTIONS)
def test_a_function_of_words_means_what_the_table_says(name: str, aliased: bool) -> None:
    """For all words and numbers, with power and without, also where one is the target itself."""
    assert MEANINGS.keys() == BIT_STRING_FUNCTIONS.keys()
    asm = Assembler()
    target = Destination(asm.planes(INT_PLANES), asm.control(), asm.bit())
    places = [asm.planes(INT_PLANES) for _ in Operator(name).row.pins]
    if aliased:
        places[0] = target.base
    _prove(asm, name, target, places, {})


@pytest.mark.parametrize("number", CONSTANTS)
@pytest.mark.parametrize("name", _SHIFTS)
def test_a_shift_by_a_literal_means_the_same(name: str, number: int) -> None:
    asm = Assembler()
    target = Destination(asm.planes(INT_PLANES), asm.control(), asm.bit())
    _prove(asm, name, target, [target.base, asm.constant(number)], {1: number})


def _prove(
    asm: Assembler, name: str, target: Destination, places: list[int], literals: dict[int, int]
) -> None:
    BIT_STRING_FUNCTIONS[name](asm, target, *places)
    memory = Planes()
    before = z3.BitVec("before", INT_PLANES)
    for i, place in enumerate(places):
        literal = literals.get(i)
        value = z3.BitVec(f"in{i}", INT_PLANES)
        memory.put(place, value if literal is None else z3.BitVecVal(literal, INT_PLANES))
    memory.put(target.base, before)
    power = memory.bits[target.power] = z3.Bool("power")
    memory.bits[target.fault] = z3.BoolVal(False)
    given = [memory.word(place) for place in places]
    for row in asm.machine().code.reshape(-1, WIDTH).tolist():
        memory.run(Op(row[0]), row[1:])
    wrong = given[1] < 0 if name in _SHIFTS else z3.BoolVal(False)
    meant = z3.If(z3.And(power, z3.Not(wrong)), MEANINGS[name](*given), before)
    solver = z3.Solver()
    faulty = z3.And(power, wrong)
    solver.add(z3.Or(memory.word(target.base) != meant, memory.bits[target.fault] != faulty))
    assert solver.check() == z3.unsat, solver.model()
