"""Checks: property patterns over signals, and rules about structure and documentation.

The patterns are those of Dwyer, Avrunin and Corbett (ICSE 1999) that control exercises need, with
time bounds in whole scans. An ``Expression`` is a network in the text form of rungs; it names
points, the exercise's observer variables and plant quantities.
"""

from dataclasses import dataclass, fields
from typing import TypeAlias

from server.ladder.program import Series


@dataclass(frozen=True, slots=True)
class Expression:
    """A condition on signals: its text as the author wrote it, and its network."""

    text: str
    network: Series


@dataclass(frozen=True, slots=True)
class Never:
    """``condition`` never holds. Exercised once ``given`` has held."""

    condition: Expression
    given: Expression


@dataclass(frozen=True, slots=True)
class Always:
    """``condition`` holds in every scan in which ``given`` holds."""

    condition: Expression
    given: Expression


@dataclass(frozen=True, slots=True)
class Response:
    """Whenever ``trigger`` has held for ``held_ms``, then ``response`` within ``within_ms``.

    ``unless`` ends an open obligation. With ``until``, the response must then stay until that
    condition comes, which also ends an open obligation.
    """

    trigger: Expression
    response: Expression
    within_ms: int
    held_ms: int = 0
    until: Expression | None = None
    unless: Expression | None = None


@dataclass(frozen=True, slots=True)
class Precedence:
    """``event`` only after ``cause`` has held, since the start or since ``afresh`` last held."""

    event: Expression
    cause: Expression
    afresh: Expression | None = None


@dataclass(frozen=True, slots=True)
class Lasts:
    """Each time ``condition`` begins, it lasts at least and at most so long, ``unless`` …"""

    condition: Expression
    at_least_ms: int | None = None
    at_most_ms: int | None = None
    unless: Expression | None = None


@dataclass(frozen=True, slots=True)
class Steady:
    """``condition`` changes at most ``changes`` times in any ``window_ms``."""

    condition: Expression
    changes: int
    window_ms: int


Pattern: TypeAlias = Never | Always | Response | Precedence | Lasts | Steady


@dataclass(frozen=True, slots=True)
class StructureRule:
    """A demand on how the program is written; ``marking.structure`` knows the rules by name.

    ``subject`` is a symbol of the exercise, an element's name or empty; ``source`` a second symbol
    and ``count`` a number where the rule takes them.
    """

    rule: str
    subject: str = ""
    source: str = ""
    count: int = 1


@dataclass(frozen=True, slots=True)
class Check:
    """One property of a requirement.

    ``fails`` is the author's plain sentence for a violation, ``idle`` the one for a check that was
    never exercised; both may be empty. ``scenarios`` limits the check to those scenarios.
    """

    property: Pattern | StructureRule
    fails: str = ""
    idle: str = ""
    scenarios: tuple[str, ...] = ()


def expressions_of(check: Check) -> tuple[Expression, ...]:
    """Every condition of a check, in order; none of a rule about structure."""
    if isinstance(check.property, StructureRule):
        return ()
    values = (getattr(check.property, part.name) for part in fields(check.property))
    return tuple(v for v in values if isinstance(v, Expression))
