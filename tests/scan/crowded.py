"""Crowded programs: few variables, many blocks, everything refers to everything.

``tests.strategies.programs`` gives small programs that shrink well; these make the meetings of
elements frequent (a block that reads its own output, a variable written twice in a rung).
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from hypothesis import strategies as st

from server.ladder.elements import (
    BLOCK_TYPES,
    INT_MAX,
    INT_MIN,
    CoilKind,
    ContactKind,
    Operator,
    Pin,
    Relation,
)
from server.ladder.program import (
    AssignmentStatement,
    Block,
    BlockInput,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Duration,
    Element,
    Formula,
    Item,
    Name,
    Number,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Variable,
)

_POINTS = (
    Variable("a", "BOOL", "%IX0.0"),
    Variable("b", "BOOL", "%IX0.1"),
    Variable("level", "INT", "%IW2"),
    Variable("x", "BOOL", "%QX0.0"),
    Variable("y", "BOOL", "%QX0.1", initial=1),
    Variable("m", "BOOL", retain=True),
    Variable("n", "INT", initial=2),
    Variable("k", "INT", initial=-3, retain=True),
    Variable("pause", "TIME", initial=25),
    Variable("w", "WORD", initial=0x8005),
    Variable("v", "WORD", retain=True),
)


def crowded_programs() -> st.SearchStrategy[Program]:
    """Programs of three to six rungs with four blocks."""
    return st.builds(crowded, st.integers(0, 2**32 - 1))


def crowded(seed: int) -> Program:
    """The program that grows from a seed."""
    return _Builder(Random(seed)).program()


@dataclass(slots=True)
class _Builder:
    random: Random
    bits: list[str] = field(default_factory=lambda: ["a", "b", "x", "y", "m", "w.%X0", "v.%X15"])
    numbers: list[str] = field(default_factory=lambda: ["level", "n", "k"])
    elapsed: list[str] = field(default_factory=list)
    blocks: list[Variable] = field(default_factory=list)

    def program(self) -> Program:
        kinds = self.random.choices(list(BLOCK_TYPES), k=4)
        declared = [
            Variable(f"f{i}", kind, retain=self.random.random() < 0.3)
            for i, kind in enumerate(kinds)
        ]
        lists = {"BOOL": self.bits, "INT": self.numbers, "TIME": self.elapsed}
        for variable in declared:
            for pin in BLOCK_TYPES[variable.type].outputs:
                lists[pin.type].append(f"{variable.symbol}.{pin.name}")
        self.blocks = list(declared)
        rungs = [self.rung() for _ in range(self.random.randint(3, 6))]
        while self.blocks:
            rungs.append(self.rung())
        return Program("crowded", (*_POINTS, *declared), tuple(rungs))

    def rung(self) -> Rung:
        outputs = [self.output() for _ in range(self.random.choice([1, 1, 2, 3]))]
        return Rung(self.series(2), tuple(outputs))

    def series(self, depth: int) -> Series:
        length = self.random.choice([0, 1, 1, 1, 2, 2])
        return Series(tuple(item for _ in range(length) for item in self.items(depth)))

    def items(self, depth: int) -> tuple[Item, ...]:
        """Mostly one item; now and then a block beside contacts on its own outputs."""
        if depth and self.random.random() < 0.3:
            branches = [self.series(depth - 1) for _ in range(self.random.choice([2, 2, 3]))]
            return (Parallel(tuple(branches)),)
        if not self.blocks or self.random.random() < 0.5:
            return (self.contact(),)
        block = self.block()
        match self.random.randint(0, 3):
            case 0:
                return (self.contact(block.instance), block)
            case 1:
                own = Series((self.contact(block.instance),))
                return (Parallel((own, Series((block,)))),)
            case _:
                return (block,)

    def block(self) -> Block:
        block = self.blocks.pop()
        wired = [self.input(pin, block.symbol) for pin in BLOCK_TYPES[block.type].inputs]
        return Block(block.symbol, tuple(wired))

    def contact(self, instance: str | None = None) -> Element:
        """A contact, or a comparison; on an output of ``instance`` if it is given."""
        kinds = [ContactKind.OPEN, ContactKind.CLOSED] * 3 + list(ContactKind)
        if instance is not None:
            return Contact(self.random.choice(kinds), self.random.choice(self.own_bits(instance)))
        if self.random.random() < 0.15:
            relation = self.random.choice(list(Relation))
            if self.elapsed and self.random.random() < 0.5:
                sides: list[Operand] = [Name(self.random.choice(self.elapsed)), self.duration()]
                self.random.shuffle(sides)
                return Comparison(sides[0], relation, sides[1])
            if self.random.random() < 0.3:
                return Comparison(self.word(), relation, self.word())
            return Comparison(self.number(), relation, self.number())
        return Contact(self.random.choice(kinds), self.bit())

    def input(self, pin: Pin, instance: str) -> BlockInput:
        of_type: dict[str, Callable[[], Operand]] = {
            "TIME": self.delay,
            "INT": self.preset,
            "BOOL": lambda: Name(self.random.choice([self.bit(), *self.own_bits(instance)])),
        }
        negated = pin.type == "BOOL" and self.random.random() < 0.5
        return BlockInput(pin.name, of_type[pin.type](), negated)

    def own_bits(self, instance: str) -> list[str]:
        return [bit for bit in self.bits if bit.startswith(f"{instance}.")]

    def bit(self) -> str:
        return self.random.choice(self.bits)

    def duration(self) -> Operand:
        choices: list[Operand] = [Name("pause"), Duration(self.random.randint(0, 90))]
        return self.random.choice(choices)

    def delay(self) -> Operand:
        literal = Duration(self.random.choice([0, 7, 10, 20, 25, 30, 40, 80]))
        return Name("pause") if self.random.random() < 0.2 else literal

    def preset(self) -> Operand:
        literal = Number(self.random.choice([-1, 0, 1, 2, 3, INT_MAX, INT_MIN]))
        variable = Name(self.random.choice(["level", "n", "k"]))
        return variable if self.random.random() < 0.3 else literal

    def number(self) -> Operand:
        literal = self.random.choice([-2, -1, 0, 1, 2, 3, 7, 300, INT_MAX, INT_MIN])
        choices: list[Operand] = [Number(literal), Name(self.random.choice(self.numbers))]
        return self.random.choice(choices)

    def word(self) -> Operand:
        literal = Number(self.random.choice([0, 1, 0x8000, 0xFFFF, 0x0FF0]), 16)
        choices: list[Operand] = [literal, Name(self.random.choice(["w", "v"]))]
        return self.random.choice(choices)

    def value(
        self, of_type: dict[str, Callable[[], Operand]], result: str, often: float
    ) -> Calculated:
        fitting = [o for o in Operator if result in o.row.result]
        if not fitting or self.random.random() >= often:
            return of_type[result]()
        operator = self.random.choice(fitting)
        pins = [result if pin.type == "ANY" else pin.type for pin in operator.row.pins]
        operands = tuple(self.value(of_type, pin, often / 3) for pin in pins)
        return Formula(operator, operands)

    def output(self) -> Output:
        if self.random.random() < 0.35:
            target, result = self.random.choice(
                [("n", "INT"), ("k", "INT"), ("w", "WORD"), ("v", "WORD")]
            )
            of_type: dict[str, Callable[[], Operand]] = {
                "INT": self.number,
                "WORD": self.word,
                "BOOL": lambda: Name(self.bit()),
            }
            value = self.value(of_type, result, 0.8)
            return AssignmentStatement(target, Number(0)).with_value(value)
        driven = self.random.choice(["x", "y", "m", "w.%X0", "v.%X15"])
        return Coil(self.random.choice(list(CoilKind)), driven)
