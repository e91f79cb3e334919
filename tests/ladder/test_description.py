"""A rung can be rebuilt from what a screen reader is told."""

import re

from hypothesis import given

from server.ladder.description import describe_rung
from server.ladder.durations import parse_duration
from server.ladder.elements import CoilKind, ContactKind, Operator, Relation
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
)
from server.ladder.text_form import parse_program
from tests.ladder.test_text_form import CANONICAL
from tests.strategies import programs

OPERAND = r"T#\w+|16#\w+|-?\d+|[a-z_]\w*(?:\.%?[A-Z]\w*)?"
AT = r"(?: at %[A-Z]+\d+(?:\.\d)?)?"


class Listener:
    """Rebuilds a rung from its description, one construct a method, like someone who listens."""

    def __init__(self, told: str) -> None:
        self.left = told

    def hear(self, pattern: str) -> re.Match[str] | None:
        match = re.match(pattern, self.left, re.DOTALL)
        if match:
            self.left = self.left[match.end() :]
        return match

    def must(self, pattern: str) -> re.Match[str]:
        match = self.hear(pattern)
        assert match, f"expected {pattern} in {self.left!r}"
        return match

    def rung(self) -> Rung:
        self.must("Power passes ")
        network = self.series()
        self.must(r"\. It drives ")
        outputs: list[Output] = []
        if not self.hear("nothing"):
            outputs.append(self.output())
            while self.hear("; "):
                outputs.append(self.output())
        self.must(r"\.")
        serves = self.hear(r" It serves ([^.]*)\.")
        comment = self.hear(" Comment: (.*)")
        assert self.left == ""
        return Rung(
            network,
            tuple(outputs),
            comment[1] if comment else "",
            tuple(re.split(", | and ", serves[1])) if serves else (),
        )

    def series(self) -> Series:
        if self.hear("a wire"):
            return Series()
        items = [self.item()]
        while self.hear(", then "):
            items.append(self.item())
        return Series(tuple(items))

    def item(self) -> Item:
        parallel = self.hear(r"parallel of (\d+) branches: ")
        if not parallel:
            return self.element()
        branches = []
        for number in range(1, int(parallel[1]) + 1):
            self.must(f"branch {number}: ")
            branches.append(self.series())
            self.must("; ")
        self.must("end of parallel")
        return Parallel(tuple(branches))

    def element(self) -> Element:
        if contact := self.hear(rf"({'|'.join(ContactKind)}) contact ({OPERAND}){AT}"):
            return Contact(ContactKind(contact[1]), contact[2])
        words = {relation.row.words: relation for relation in Relation}
        if comparison := self.hear(
            rf"comparison ({OPERAND}){AT} ({'|'.join(words)}) ({OPERAND}){AT}"
        ):
            left, right = operand(comparison[1]), operand(comparison[3])
            return Comparison(left, words[comparison[2]], right)
        block = self.must(r"[A-Z_]+ block (\w+)")
        inputs = []
        if self.hear(" with "):
            inputs.append(self.input())
            while self.hear(", (?!then)| and "):
                inputs.append(self.input())
        return Block(block[1], tuple(inputs))

    def input(self) -> BlockInput:
        wired = self.must(rf"([A-Z]\w*) (not )?({OPERAND}){AT}")
        return BlockInput(wired[1], operand(wired[3]), wired[2] is not None)

    def output(self) -> Output:
        if coil := self.hear(rf"({'|'.join(CoilKind)}) ({OPERAND}){AT}"):
            return Coil(CoilKind(coil[1]), coil[2])
        target = self.must(rf"assignment to (\w+){AT} of ")[1]
        told = self.must(r".*?(?=; (?:coil|negated coil|set coil|reset coil|assignment) |\. |\.$)")
        return AssignmentStatement(target, Number(0)).with_value(value_told(told[0]))


def value_told(told: str) -> Calculated:
    """A value; each result in between stands in parentheses."""
    inner: list[str] = []
    while found := re.search(r"\(([^()]*)\)", told):
        inner.append(found[1])
        told = f"{told[: found.start()]}§{len(inner) - 1}{told[found.end() :]}"

    def read(words: str) -> Calculated:
        if re.fullmatch(r"§\d+", words):
            return read(inner[int(words[1:])])
        for operator in Operator:
            form = re.escape(operator.row.words).replace(r"\{\}", rf"(§\d+|{OPERAND}){AT}")
            if value := re.fullmatch(form, words):
                return Formula(operator, tuple(map(read, value.groups())))
        alone = re.fullmatch(rf"({OPERAND}){AT}", words)
        assert alone, f"an assignment has a value, not {words!r}"
        return operand(alone[1])

    return read(told)


def operand(told: str) -> Operand:
    if told.startswith("T#"):
        return Duration(parse_duration(told))
    if told.startswith("16#"):
        return Number(int(told[3:], 16), 16)
    return Number(int(told)) if re.fullmatch(r"-?\d+", told) else Name(told)


@given(programs())
def test_a_rung_is_rebuilt_from_its_description(program: Program) -> None:
    for rung in program.rungs:
        assert Listener(describe_rung(rung, program)).rung() == rung


def test_the_sentences_read_well() -> None:
    program = parse_program(CANONICAL)
    assert describe_rung(program.rungs[0], program) == (
        "Power passes parallel of 2 branches: branch 1: normally open contact start_pb at %IX0.0; "
        "branch 2: normally open contact fill_pump; end of parallel, then normally open contact "
        "stop_pb, then normally closed contact sump_high. It drives coil fill_pump. "
        "It serves R1 and R2a. Comment: The fill pump seals in.\nSecond comment line."
    )
    assert describe_rung(program.rungs[2], program) == (
        "Power passes normally open contact running, then TON block fill_delay with PT T#5s, "
        "then comparison level greater than 500. It drives coil lamp; negated coil horn."
    )
    assert describe_rung(program.rungs[4], program) == (
        "Power passes normally open contact a, then block counter with R not reset_pb and PV 5. "
        "It drives nothing."
    )
