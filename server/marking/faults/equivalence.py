"""Whether two programs behave the same, whatever happens at their inputs.

Both run side by side in one machine with the same inputs, which are free in every scan, as is the
supply. The exhaustive search looks for a scan in which an observed point differs; where it ends
without one, the programs are the same for every order of events (a product machine, as used to
compare sequential circuits; common practice, no source).

Timers are first taken as *shared*: a timer with the same name, kind and preset in both programs
ends by one free choice for both, and a scan in which the two see different power counts as a
difference. A real timer is a function of the power that it has seen, so what is the same for
every such choice is the same for the real times; the search then need not count scans. Only where
that finds a difference are the scans counted.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from server.ladder.elements import BlockFamily, family_of
from server.ladder.program import Program
from server.marking.dependence import rung_uses
from server.marking.faults.free_inputs import free_inputs
from server.marking.proofs.search import MAX_CHOICES, search
from server.scan.assembler import Assembler, Bit, Signal, Word
from server.scan.compiler import CompiledProgram, compile_program
from server.scan.instructions import FALSE, INT_PLANES
from server.scan.liveness import only_carried
from server.scan.slicing import Slicer

WORK = 4_000_000
"""Transitions that one search may take; past that nothing is claimed."""


Inputs = dict[str, int]
"""One scan: the value of each input by address, and ``supply`` 0 or 1."""


@dataclass(frozen=True, slots=True)
class Equivalence:
    """What is known: the same, different after ``trail``, or neither.

    ``trail`` holds the inputs of each scan up to and with the first that differs.
    """

    same: bool
    trail: tuple[Inputs, ...] = ()

    @property
    def different(self) -> bool:
        """Whether a difference was found."""
        return bool(self.trail)


def compare(
    first: Program, second: Program, observed: Collection[str], *, period_ms: int, work: int = WORK
) -> Equivalence:
    """Compare two programs by their values at the ``observed`` addresses (%Q and %M).

    Both must be free of errors. ``work`` bounds the transitions of each search.
    """
    touched = affected(first, second)
    seen = [address for address in observed if address in touched]
    if not seen or _only_exchanged(first, second):
        return Equivalence(same=True)
    common = set(first.variables) & set(second.variables)
    timers = {v.symbol for v in common if family_of(v.type) is BlockFamily.TIMER}
    if timers:
        shared = _Product((first, second), seen, timers & touched, period_ms)
        if shared.search(work).same:
            return Equivalence(same=True)
    return _Product((first, second), seen, None, period_ms).search(work)


def affected(first: Program, second: Program) -> set[str]:
    """Symbols and addresses that may differ between the two programs.

    Everything downstream of a difference in the text, over any number of scans; what is not
    listed is the same in both by construction.
    """
    touched = {variable.symbol for variable in set(first.variables) ^ set(second.variables)}
    uses = [rung_uses(program) for program in (first, second)]
    for number, (a, b) in enumerate(zip_longest(first.rungs, second.rungs)):
        if a != b:
            for of_program in uses:
                touched |= of_program[number].writes
    before = -1
    while before != len(touched):
        before = len(touched)
        for rung in (*uses[0].values(), *uses[1].values()):
            if rung.reads & touched:
                touched |= rung.writes
    variables = (*first.variables, *second.variables)
    return touched | {v.address for v in variables if v.address and v.symbol in touched}


def _only_exchanged(first: Program, second: Program) -> bool:
    """Return whether two neighboring rungs that are independent changed places."""
    if first.variables != second.variables or len(first.rungs) != len(second.rungs):
        return False
    rungs = enumerate(zip(first.rungs, second.rungs, strict=True))
    different = [number for number, (a, b) in rungs if a != b]
    if len(different) != 2:
        return False
    i, j = different
    if j != i + 1 or (first.rungs[i], first.rungs[j]) != (second.rungs[j], second.rungs[i]):
        return False
    uses = rung_uses(first)
    upper, lower = uses[i], uses[j]
    return not (
        upper.writes & (lower.reads | lower.writes) or lower.writes & (upper.reads | upper.writes)
    )


class _Product:
    """Both programs in one machine. ``timed`` are the timers to be shared; None counts scans."""

    def __init__(
        self,
        programs: tuple[Program, Program],
        observed: Collection[str],
        timed: Collection[str] | None,
        period_ms: int,
    ) -> None:
        asm = Assembler(period_ms)
        decisions: dict[str, int] = {}

        def decide(label: str) -> int:
            if label not in decisions:
                decisions[label] = asm.choice()
            return decisions[label]

        with asm.section("scan"):
            self._supply = asm.choice()
            self._inputs = free_inputs(asm, programs)
            compiled = [
                compile_program(
                    asm,
                    program,
                    self._inputs.signals,
                    self._supply,
                    exact_timers=timed is None,
                    saturate_counters=True,
                    decide=decide,
                )
                for program in programs
            ]
            points = [_points(program, of) for program, of in zip(programs, compiled, strict=True)]
            pairs = [
                pair
                for address in observed
                for pair in zip(*(_planes(point.get(address)) for point in points), strict=True)
            ]
            first, second = (of.timers for of in compiled)
            pairs += [
                (first[timer].before, second[timer].before)
                for timer in timed or ()
                if first[timer].elapsed.preset_ms == second[timer].elapsed.preset_ms
            ]
            self._different = FALSE
            for a, b in pairs:
                self._different = asm.or_(self._different, asm.xor(a, b))
        sliced = Slicer(asm.machine(), ("scan",)).sliced({self._different})
        self._machine = only_carried(sliced, ("scan",), set())

    def search(self, work: int) -> Equivalence:
        """Look for a difference within so many transitions."""
        machine = self._machine
        if self._different == FALSE:
            return Equivalence(same=True)
        if len(machine.choices) > MAX_CHOICES:
            return Equivalence(same=False)
        result = search(
            machine,
            (machine.sections["scan"],),
            (self._different,),
            budget=max(64, work >> len(machine.choices)),
        )
        [trail] = result.trails
        return Equivalence(
            same=result.complete and trail is None,
            trail=tuple(map(self._inputs_of, trail.choices if trail else ())),
        )

    def _inputs_of(self, choices: int) -> Inputs:
        on = {plane for i, plane in enumerate(self._machine.choices) if (choices >> i) & 1}
        return {"supply": int(self._supply in on)} | self._inputs.chosen(on)


def _points(program: Program, compiled: CompiledProgram) -> dict[str, Signal]:
    return {v.address: compiled.symbols[v.symbol] for v in program.variables if v.address}


def _planes(signal: Signal | None) -> Sequence[int]:
    match signal:
        case Bit(plane):
            return (plane,)
        case Word(base):
            return range(base, base + INT_PLANES)
        case _:
            return ()
