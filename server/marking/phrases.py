"""The sentences of a verdict: short, in the words of the trade, without blame."""

from server.marking.exercise import Requirement
from server.marking.patterns import (
    Always,
    Check,
    Lasts,
    Never,
    Pattern,
    Precedence,
    Response,
    Steady,
    StructureRule,
)
from server.marking.verdict import Evidence


def seconds(ms: int) -> str:
    """Milliseconds as seconds with two decimals: '0.52 s'."""
    return f"{ms / 1000:.2f} s"


def plant_time(ms: int) -> str:
    """A longer time, rounded: '45 s', '6.2 min'."""
    return f"{ms / 1000:.0f} s" if ms < 60_000 else f"{ms / 60_000:.1f} min"


def known_by_scenarios(count: int, ms: int) -> str:
    """How a met requirement is known."""
    scenarios = "1 scenario" if count == 1 else f"{count} scenarios"
    return f"{scenarios}, {plant_time(ms)} of plant time"


def describe(pattern: Pattern) -> str:
    """The property in one clause, for authors and for checks without a sentence of their own."""
    match pattern:
        case Never():
            return f"never {pattern.condition.text}"
        case Always():
            return f"{pattern.condition.text} whenever {pattern.given.text}"
        case Response():
            held = f" has held for {seconds(pattern.held_ms)}" if pattern.held_ms else ""
            until = f", until {pattern.until.text}" if pattern.until else ""
            return (
                f"whenever {pattern.trigger.text}{held}, then {pattern.response.text} "
                f"within {seconds(pattern.within_ms)}{until}"
            )
        case Precedence():
            return f"{pattern.event.text} only after {pattern.cause.text}"
        case Lasts():
            bounds = [
                f"at {word} {seconds(ms)}"
                for word, ms in (("least", pattern.at_least_ms), ("most", pattern.at_most_ms))
                if ms is not None
            ]
            return f"{pattern.condition.text} lasts {' and '.join(bounds)}"
        case Steady():
            return (
                f"{pattern.condition.text} changes at most {pattern.changes} times "
                f"in {seconds(pattern.window_ms)}"
            )


def failed(requirement: Requirement, check: Check, evidence: Evidence) -> str:
    """Why a requirement is not met, with the measured time where there is one."""
    assert not isinstance(check.property, StructureRule), "a rule brings its own sentence"
    said = check.fails or f"This did not hold: {describe(check.property)}."
    sentence = f"{requirement.id} not met: {said}"
    if isinstance(check.property, Response):
        allowed = seconds(check.property.within_ms)
        if evidence.answered_ms is not None:
            came = seconds(evidence.answered_ms)
            sentence += f" The right state came after {came}; {allowed} is allowed."
        elif evidence.broken:
            sentence += f" The right state was lost again at {seconds(evidence.at_ms)}."
        else:
            waited = seconds(evidence.to_ms - (evidence.asked_ms or 0))
            sentence += f" The right state had not come {waited} later; {allowed} is allowed."
    else:
        sentence += f" Seen at {seconds(evidence.at_ms)}."
    return sentence


def idle(requirement: Requirement, check: Check) -> str:
    """Why a requirement is not exercised: what never happened."""
    assert not isinstance(check.property, StructureRule), "a rule is always exercised"
    if check.idle:
        return f"{requirement.id} not exercised: {check.idle}"
    match check.property:
        case Never() | Always():
            missing = check.property.given.text
        case Response():
            missing = check.property.trigger.text
        case Precedence():
            missing = check.property.event.text
        case Lasts() | Steady():
            missing = f"a change of {check.property.condition.text}"
    return f"{requirement.id} not exercised: in no scenario there was {missing}."
