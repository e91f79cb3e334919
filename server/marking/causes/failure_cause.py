"""Why a check failed: the causes of the output that it speaks of, in a few sentences."""

from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Contact, Program, walk
from server.marking.causes.cause import Reason, why
from server.marking.causes.recording import record_scenario
from server.marking.check import Pattern
from server.marking.exercise import Exercise
from server.marking.scenario import Scenario

MAX_SENTENCES = 4

LONGEST_SCANS = 60_000
"""No causes are looked for in a failure later than this: ten minutes at 10 ms."""


def causes_of_failure(
    exercise: Exercise, program: Program, check: Pattern, scenario: Scenario, scan: int
) -> tuple[str, ...]:
    """At most four sentences on the output of ``check`` in a scan of a scenario.

    Empty where the check speaks of no output that the program declares.
    """
    symbol = _judged_output(exercise, program, check)
    if symbol is None or scan >= LONGEST_SCANS:
        return ()
    history = record_scenario(exercise, program, scenario, scan + 1)
    last = min(scan, history.scans - 1)
    return shortest(why(program, history, symbol, last, exercise.points))


def shortest(reasons: tuple[Reason, ...]) -> tuple[str, ...]:
    """At most four sentences: the first ones, but the change that decided in any case."""
    if len(reasons) <= MAX_SENTENCES:
        return tuple(reason.text for reason in reasons)
    kept = list(reasons[:MAX_SENTENCES])
    decisive = [reason for reason in reasons if reason.decisive]
    if decisive and decisive[0] not in kept:
        kept[-1] = decisive[0]
    return tuple(reason.text for reason in kept)


def _judged_output(exercise: Exercise, program: Program, check: Pattern) -> str | None:
    """Return the student's symbol for the first output that the check demands or forbids."""
    outputs = {p.symbol.lower(): p for p in exercise.points if p.direction is Direction.OUTPUT}
    for expression in (check.judged, *check.conditions().values()):
        for _, element in walk(expression.network):
            if isinstance(element, Contact):
                name = element.symbol.lower().removesuffix(".on")
                if name in outputs:
                    return _declared(program, outputs[name])
    return None


def _declared(program: Program, point: PointDeclaration) -> str | None:
    return next((v.symbol for v in program.variables if v.address == point.address), None)
