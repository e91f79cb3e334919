"""From the form of a requirement to the requirement, its checks held against the exercise."""

from collections.abc import Collection

from server.marking.check import Check, ProgramCheck
from server.marking.exercise import Requirement, RequirementKind
from server.marking.files.conditions import Conditions
from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import RequirementPart

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
            place = (*path, "checks", number)
            rule = isinstance(check, ProgramCheck)
            if rule != (part.kind in _ON_THE_PROGRAM):
                wanted = "a rule: write 'uses'" if not rule else "no rule: leave 'uses' out"
                sentence = f"A requirement of kind {part.kind} has {wanted}."
                self._document.fault(place, sentence)
            self._note_faults(place, check)
        return Requirement(
            id=part.id,
            text=part.text.strip(),
            kind=part.kind,
            checks=part.checks,
            weight=part.weight,
            outcomes=part.outcomes,
        )

    def _note_faults(self, place: FieldPath, check: Check) -> None:
        for key, sentence in check.faults(self._symbols):
            self._document.fault((*place, key) if key else place, sentence)
        for key, condition in check.conditions().items():
            self._conditions.note_faults((*place, key), condition.text)
