"""From the form of a requirement to its checks: patterns over conditions, rules about structure."""

from collections.abc import Collection

from server.marking.exercise import Requirement, RequirementKind
from server.marking.files.conditions import Conditions
from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import (
    AlwaysPart,
    CheckPart,
    LastsPart,
    NeverPart,
    OnlyPart,
    RequirementPart,
    SteadyPart,
    UsesPart,
    WheneverPart,
)
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
from server.marking.structure import rule_fault

_ON_THE_PROGRAM = (RequirementKind.STRUCTURE, RequirementKind.DOCUMENTATION)


class RequirementBuilder:
    """Builds requirements; what does not fit the exercise is noted in the document."""

    def __init__(
        self, document: Document, conditions: Conditions, symbols: Collection[str]
    ) -> None:
        self._document = document
        self._conditions = conditions
        self._symbols = symbols

    def requirement(self, path: FieldPath, part: RequirementPart) -> Requirement:
        for number, check in enumerate(part.checks):
            rule = isinstance(check, UsesPart)
            if rule != (part.kind in _ON_THE_PROGRAM):
                wanted = "a rule: write 'uses'" if not rule else "no rule: leave 'uses' out"
                self._document.fault(
                    (*path, "checks", number), f"A requirement of kind {part.kind} has {wanted}."
                )
        return Requirement(
            id=part.id,
            text=part.text.strip(),
            kind=part.kind,
            checks=tuple(
                self._check((*path, "checks", number), check)
                for number, check in enumerate(part.checks)
            ),
            weight=part.weight,
            outcomes=part.outcomes,
        )

    def _check(self, path: FieldPath, part: CheckPart) -> Check:
        return Check(
            self._property(path, part), part.fails.strip(), part.idle.strip(), part.scenarios
        )

    def _property(self, path: FieldPath, part: CheckPart) -> Pattern | StructureRule:
        read, optional = self._conditions.read, self._conditions.optional
        match part:
            case NeverPart():
                return Never(read((*path, "never"), part.never), read((*path, "given"), part.given))
            case AlwaysPart():
                return Always(
                    read((*path, "always"), part.always), read((*path, "given"), part.given)
                )
            case WheneverPart():
                return Response(
                    trigger=read((*path, "whenever"), part.whenever),
                    response=read((*path, "then"), part.then),
                    within_ms=part.within,
                    held_ms=part.held_for,
                    until=optional((*path, "until"), part.until),
                    unless=optional((*path, "unless"), part.unless),
                )
            case OnlyPart():
                return Precedence(
                    event=read((*path, "only"), part.only),
                    cause=read((*path, "after"), part.after),
                    afresh=optional((*path, "afresh"), part.afresh),
                )
            case LastsPart():
                return self._lasts(path, part)
            case SteadyPart():
                return Steady(read((*path, "steady"), part.steady), part.changes, part.window)
            case UsesPart():
                return self._rule(path, part)
            case _:
                raise AssertionError("the schema knows seven checks")

    def _lasts(self, path: FieldPath, part: LastsPart) -> Lasts:
        least, most = part.at_least, part.at_most
        if least is None and most is None:
            self._document.fault(path, "'at least' or 'at most' is missing here. Add one or both.")
        elif least is not None and most is not None and least > most:
            self._document.fault((*path, "at least"), "It is longer than 'at most'.")
        return Lasts(
            self._conditions.read((*path, "lasts"), part.lasts),
            least,
            most,
            self._conditions.optional((*path, "unless"), part.unless),
        )

    def _rule(self, path: FieldPath, part: UsesPart) -> StructureRule:
        rule = StructureRule(part.uses, part.of, part.by, part.times)
        fault = rule_fault(rule, self._symbols)
        if fault is not None:
            self._document.fault((*path, fault[0]), fault[1])
        return rule
