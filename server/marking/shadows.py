"""Reference programs as shadows of a student's program.

A shadow reads the same inputs in every scan, keeps its own memory and drives nothing. Where an
output differs from that of every shadow, the machine's signal ``unlike.<output>`` is TRUE, except
where the exercise leaves that output free. A difference that begins while the output is free stays
excused until the output agrees with a shadow again: what follows from a free choice is free.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import zip_longest

from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Program
from server.marking.checks.lasts import Lasts
from server.marking.exercise import Exercise, Freedom, Requirement, RequirementKind
from server.marking.expression import Expression
from server.marking.kept import kept
from server.scan.assembler import Assembler, Bit, Elapsed, Quantity, Signal
from server.scan.compiler import compile_program
from server.scan.instructions import FALSE, INT_PLANES, TRUE, Op

PREFIX = "unlike."
REQUIREMENT = "second look"
"""The id of the requirement that no sheet has: no output is unlike every reference for long."""

Outputs = Mapping[str, Signal]
"""Output points by direct address, as a program leaves them."""


def compile_shadows(
    asm: Assembler,
    references: Iterable[Program],
    inputs: Mapping[str, Signal],
    power: int,
    *,
    saturate_counters: bool,
) -> tuple[Outputs, ...]:
    """Emit one scan of each reference; return their outputs."""
    return tuple(
        compile_program(asm, reference, inputs, power, saturate_counters=saturate_counters).outputs
        for reference in references
    )


def emit_unlike(
    asm: Assembler,
    points: Iterable[PointDeclaration],
    outputs: Outputs,
    shadows: Sequence[Outputs],
    free: Sequence[Freedom],
    power: int,
    condition: Callable[[Expression], int],
) -> None:
    """Define ``unlike.<output>`` for each output point; needs at least one shadow."""
    for point in points:
        if point.direction is not Direction.OUTPUT:
            continue
        mine = outputs.get(point.address, Bit(FALSE))
        differs = reduce(
            asm.and_,
            (_differs(asm, mine, shadow.get(point.address, Bit(FALSE))) for shadow in shadows),
            power,
        )
        choices = [condition(f.when) for f in free if point.symbol in f.outputs]
        if choices:
            excused = asm.bit()
            asm.emit(Op.RESET, excused, asm.not_(differs))
            asm.emit(Op.SET, excused, asm.and_(differs, reduce(asm.or_, choices)))
            differs = asm.and_not(differs, excused)
        asm.define(f"{PREFIX}{point.symbol}", Bit(differs))


def _differs(asm: Assembler, a: Signal, b: Signal) -> int:
    """Return a plane: ``a`` and ``b`` are not equal, and ``b`` is as in the scan before.

    An output that follows a scan late differs in every scan from one that changes in every scan.
    """
    pairs = zip_longest(_planes(a), _planes(b), fillvalue=FALSE)
    unequal = reduce(asm.or_, (asm.xor(x, y) for x, y in pairs))
    return reduce(asm.and_not, (_changed(asm, plane) for plane in _planes(b)), unequal)


def _changed(asm: Assembler, plane: int) -> int:
    """Return a plane: ``plane`` is not as it was in the scan before."""
    if plane in (FALSE, TRUE):
        return FALSE
    before = asm.bit()
    changed = asm.xor(plane, before)
    asm.copy_to(before, plane)
    return changed


def _planes(signal: Signal) -> list[int]:
    match signal:
        case Bit(plane):
            return [plane]
        case Elapsed() | Quantity():
            raise AssertionError("an output point is a BOOL or an INT")
        case _:
            return list(range(signal.base, signal.base + INT_PLANES))


@kept
def with_second_look(exercise: Exercise) -> Exercise:
    """Return the exercise with one more requirement everywhere: be like a reference."""
    outputs = [p.symbol for p in exercise.points if p.direction is Direction.OUTPUT]
    checks = tuple(
        Lasts.model_validate(
            {"lasts": f"{PREFIX}{symbol}", "at most": f"{exercise.tolerance_ms} ms"}
        )
        for symbol in outputs
    )
    look = Requirement(
        REQUIREMENT, "Behaves as a reference program.", RequirementKind.IMPLIED, checks
    )
    return replace(
        exercise,
        requirements=(*exercise.requirements, look),
        scenarios=tuple(
            replace(s, judges=(*s.judges, REQUIREMENT) if s.judges else ())
            for s in exercise.scenarios
        ),
    )
