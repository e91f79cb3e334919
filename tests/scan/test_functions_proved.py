"""The instructions of each function of numbers against its meaning, for all numbers at once (z3).

The meanings are written from IEC 61131-3's function tables (from memory), in z3's own words.
"""

from collections.abc import Callable

import pytest
import z3

from server.ladder.elements import Operator
from server.scan.arithmetic import Operation
from server.scan.assembler import Assembler
from server.scan.functions import FUNCTIONS, Destination
from server.scan.instructions import INT_PLANES, WIDTH, Op

Meaning = Callable[..., z3.ExprRef]


def _min(a: z3.BitVecRef, b: z3.BitVecRef) -> z3.ExprRef:
    return z3.If(a < b, a, b)


def _max(a: z3.BitVecRef, b: z3.BitVecRef) -> z3.ExprRef:
    return z3.If(a > b, a, b)


MEANINGS: dict[str, Meaning] = {
    "ABS": lambda a: z3.If(a < 0, -a, a),
    "MIN": _min,
    "MAX": _max,
    "LIMIT": lambda lowest, a, highest: _min(_max(a, lowest), highest),
    "SEL": lambda g, a, b: z3.If(g, b, a),
}


class Symbolic:
    """Memory as formulas: a BOOL for each plane, a number for each base that is one."""

    def __init__(self, bits: dict[int, z3.BoolRef], words: dict[int, z3.ExprRef]) -> None:
        self.bits, self.words = bits, words
        self.fault: z3.BoolRef = z3.BoolVal(False)

    def run(self, op: Op, at: list[int]) -> None:
        bits, words = self.bits, self.words
        match op:
            case Op.NOT:
                bits[at[0]] = z3.Not(bits[at[1]])
            case Op.AND:
                bits[at[0]] = z3.And(bits[at[1]], bits[at[2]])
            case Op.OR:
                bits[at[0]] = z3.Or(bits[at[1]], bits[at[2]])
            case Op.ANDN:
                bits[at[0]] = z3.And(bits[at[1]], z3.Not(bits[at[2]]))
            case Op.LT:
                bits[at[0]] = words[at[1]] < words[at[2]]
            case Op.MOVE:
                words[at[0]] = z3.If(bits[at[2]], words[at[1]], words[at[0]])
            case Op.CALCULATE:
                assert at[5] == Operation.SUB
                a, b, en = words[at[1]], words[at[2]], bits[at[3]]
                exact = z3.SignExt(1, a) - z3.SignExt(1, b)
                fits = z3.SignExt(1, a - b) == exact
                words[at[0]] = z3.If(z3.And(en, fits), a - b, words[at[0]])
                self.fault = z3.Or(self.fault, z3.And(en, z3.Not(fits)))
            case other:
                raise AssertionError(other)


@pytest.mark.parametrize("aliased", [False, True], ids=["apart", "own operand"])
@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_means_what_the_table_says(name: str, aliased: bool) -> None:
    """For all numbers, with power and without, also where an operand is the target itself."""
    assert MEANINGS.keys() == FUNCTIONS.keys()
    asm = Assembler()
    target = Destination(asm.planes(INT_PLANES), asm.control(), asm.bit())
    zero = asm.constant(0)
    pins = Operator(name).row.pins
    places = [asm.control() if pin.type == "BOOL" else asm.planes(INT_PLANES) for pin in pins]
    if aliased:
        places[-1] = target.base
    FUNCTIONS[name](asm, target, *places)
    power, before = z3.Bool("power"), z3.BitVec("before", INT_PLANES)
    memory = Symbolic({1: z3.BoolVal(True), target.power: power}, {target.base: before})
    memory.words[zero] = z3.BitVecVal(0, INT_PLANES)
    for place, pin in zip(places, pins, strict=True):
        if pin.type == "BOOL":
            memory.bits[place] = z3.Bool(pin.name)
        elif place != target.base:
            memory.words[place] = z3.BitVec(pin.name, INT_PLANES)
    given = [memory.bits[p] if p in memory.bits else memory.words[p] for p in places]
    for row in asm.machine().code.reshape(-1, WIDTH).tolist():
        memory.run(Op(row[0]), row[1:])
    wrong = z3.And(power, given[0] == -(2**15)) if name == "ABS" else z3.BoolVal(False)
    meant = z3.If(z3.And(power, z3.Not(wrong)), MEANINGS[name](*given), before)
    solver = z3.Solver()
    solver.add(z3.Or(memory.words[target.base] != meant, memory.fault != wrong))
    assert solver.check() == z3.unsat, solver.model()
