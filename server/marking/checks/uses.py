"""``uses: <rule>``: how the program is written."""

from collections.abc import Collection, Iterator
from typing import Annotated, Any, ClassVar

from pydantic import Field

from server.ladder.names import shortened
from server.marking.check import ProgramCheck
from server.marking.files.form import Milliseconds
from server.marking.program_view import ProgramView
from server.marking.structure import ELEMENTS, RULES
from server.plant.fields import Line


class StructureRule(ProgramCheck):
    """A rule about structure or documentation, by its name in ``marking.structure``.

    ``subject`` is a symbol of the exercise, an element's name or empty; ``source`` a second symbol,
    ``target`` the output that it is about, ``count`` a number and ``preset_ms`` that of a timer,
    where the rule takes them.
    """

    menu = "uses: how the program is written"
    draft: ClassVar[dict[str, Any]] = {"uses": "seal-in"}

    rule: Line = Field(alias="uses")
    subject: str = Field("", alias="of")
    source: str = Field("", alias="by")
    target: str = Field("", alias="to")
    count: Annotated[int, Field(ge=1, le=100)] = Field(1, alias="times")
    preset_ms: Milliseconds | None = Field(None, alias="preset")

    def complaint(self, view: ProgramView) -> str | None:
        rule = RULES[self.rule](self.subject, self.source, self.count, self.target, self.preset_ms)
        return rule.complaint(view)

    def faults(self, symbols: Collection[str]) -> Iterator[tuple[str, str]]:
        known = RULES.get(self.rule)
        if known is None:
            listed = ", ".join(RULES)
            yield "uses", f"There is no rule {shortened(self.rule)}. The rules are {listed}."
            return
        for key, value in (("of", self.subject), ("by", self.source), ("to", self.target)):
            allowed = ELEMENTS if key == "of" and known.subject_is == "element" else symbols
            if not value and key in known.needs:
                yield "uses", f"The rule {self.rule!r} needs '{key}'. Write it beside 'uses'."
            elif value and key not in (*known.needs, *known.may):
                yield key, f"The rule {self.rule!r} has no '{key}'. Leave it out."
            elif value and value not in allowed:
                listed = ", ".join(allowed)
                yield key, f"{shortened(value)} is not known here. Known are {listed}."
        for key, given in (("times", self.count != 1), ("preset", self.preset_ms is not None)):
            if given and key not in known.may:
                yield key, f"The rule {self.rule!r} has no {key!r}. Leave it out."
