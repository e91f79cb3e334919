"""Timers for proofs: whatever the exact timers do, some sequence of choices does too."""

from collections.abc import Iterator
from dataclasses import dataclass

from hypothesis import given, note, settings
from hypothesis import strategies as st

from server.ladder.elements import Relation
from server.ladder.program import Block, Comparison, Duration, Name, Operand, Program, walk
from server.ladder.text_form import print_program
from server.scan.assembler import Bit
from tests.reference import compare
from tests.scan.crowded import crowded_programs
from tests.scan.lane_run import LaneRun
from tests.scan.stimulus import LaneValues, Stimulus


@dataclass(frozen=True)
class TimeIsOver:
    """The choice of a running timer."""

    instance: str
    kind: str

    def values(self, _before: LaneValues, after: LaneValues) -> list[int]:
        q = after[f"{self.instance}.q"]
        return q if self.kind == "TON" else [1 - value for value in q]


@dataclass(frozen=True)
class ElapsedCompares:
    """The choice of a comparison with ET; ``early`` where it stands before its timer."""

    left: Operand
    relation: Relation
    right: Operand
    early: bool
    constants: dict[str, int]

    def values(self, before: LaneValues, after: LaneValues) -> list[int]:
        seen = before if self.early else after
        sides = zip(self._lanes(self.left, seen), self._lanes(self.right, seen), strict=True)
        return [int(compare(a, self.relation, b)) for a, b in sides]

    def _lanes(self, operand: Operand, seen: LaneValues) -> list[int]:
        match operand:
            case Duration(ms):
                return [ms] * 64
            case Name(symbol) if symbol in self.constants:
                return [self.constants[symbol]] * 64
            case Name(symbol):
                return seen[symbol.lower()]
        raise AssertionError(f"{operand} is no duration")


def choices(program: Program) -> Iterator[TimeIsOver | ElapsedCompares]:
    """What each choice plane of the compiled program decides, in order of evaluation."""
    types = {v.symbol: v.type for v in program.variables}
    constants = {v.symbol: v.initial or 0 for v in program.variables if v.type == "TIME"}
    passed: set[str] = set()
    for rung in program.rungs:
        for _, element in walk(rung.network):
            match element:
                case Block(instance, inputs):
                    passed.add(instance)
                    preset = {wired.pin: wired.operand for wired in inputs}.get("PT")
                    if preset is not None and preset != Duration(0):
                        yield TimeIsOver(instance, types[instance])
                case Comparison(left, relation, right):
                    for side in (left, right):
                        if isinstance(side, Name) and side.symbol.endswith(".ET"):
                            early = side.symbol.partition(".")[0] not in passed
                            yield ElapsedCompares(left, relation, right, early, constants)
                case _:
                    pass


@settings(max_examples=60)
@given(crowded_programs(), st.integers(0, 2**32 - 1), st.sampled_from([10, 7]))
def test_every_exact_run_is_a_sequence_of_choices(
    program: Program, seed: int, period_ms: int
) -> None:
    note(print_program(program))
    exact = LaneRun(program, period_ms)
    abstract = LaneRun(program, period_ms, exact_timers=False)
    planned = list(zip(abstract.machine.choices, choices(program), strict=True))
    stimulus = Stimulus(program, seed)
    for scan in range(20):
        inputs, supplied = stimulus.next()
        before = exact.signals()
        exact.scan(inputs, supplied)
        after = exact.signals()
        for plane, choice in planned:
            abstract.write(Bit(plane), choice.values(before, after))
        abstract.scan(inputs, supplied)
        found = abstract.signals()
        for name, values in after.items():
            if not name.endswith(".et"):
                assert found[name] == values, f"{name} after scan {scan}"
