"""The form of ``exercise.yaml``: what may stand where. What it means is checked when it is built.

Keys are phrases (``scan period``, ``at least``); measures are texts with units. The text of an
exercise is plain data: nothing in it is ever evaluated by Python.
"""

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import AfterValidator, Field

from server.marking.checks import AnyCheck
from server.marking.exercise import TOLERANCE_MS, Release, RequirementKind
from server.marking.expression import Expression
from server.marking.files.form import (
    Amount,
    FileMapping,
    Lines,
    Milliseconds,
    ParameterName,
    RequirementNumber,
    Text,
)
from server.marking.files.plant_form import PlantForm
from server.plant.fields import Length, Line, Many

MAX_PARAMETERS = 20
MAX_POINTS = 64
MAX_REQUIREMENTS = 40
MAX_SCENARIOS = 64
"""One lane each."""
MAX_PERIOD_MS = 1000
MAX_TOLERANCE_MS = 5000

Switch: TypeAlias = Literal["on", "off"]


class ParameterPart(FileMapping):
    """A number that is drawn for each student, from the lowest to the highest in steps."""

    name: ParameterName
    from_: Amount
    to: Amount
    step: Amount


Parameters: TypeAlias = Annotated[Many[ParameterPart], Field(max_length=MAX_PARAMETERS)]


class PointPart(FileMapping):
    """One row of the table of points."""

    symbol: Line
    address: Line
    device: Line
    kind: Line
    wiring: Literal["normally open", "normally closed"] | None = None
    label: Line


class BitPart(FileMapping):
    """An internal bit that the statement names."""

    symbol: Line
    address: Line
    label: Line


class FreePart(FileMapping):
    """What the statement leaves open: these outputs may be anything while the condition holds."""

    outputs: Annotated[Many[Line], Field(min_length=1)]
    when: Expression
    sentence: Line


class RequirementPart(FileMapping):
    id: RequirementNumber
    text: Text
    kind: Annotated[RequirementKind, Field(strict=False)]
    weight: Annotated[int, Field(ge=1, le=100)] = 1
    outcomes: Many[Line] = ()
    checks: Annotated[Many[AnyCheck], Field(min_length=1, max_length=20)]


class PutPart(FileMapping):
    """An item laid on a conveyor by hand, its front edge ``at`` metres from the infeed."""

    at: Length
    marked: bool = False


class ClearPart(FileMapping):
    """Items whose front edge is ``from`` so far up ``to`` so far are taken off by hand."""

    from_: Length
    to: Length


class StepPart(FileMapping):
    """When, and what is done: actions of one step are taken in the same scan."""

    after: Milliseconds | None = None
    when: Expression | None = None
    within: Milliseconds | None = None
    press: Lines = ()
    release: Lines = ()
    tap: Lines = ()
    turn_on: Lines = ()
    turn_off: Lines = ()
    power: Switch | None = None
    fault: dict[str, Line] = Field(default_factory=dict)
    mend: dict[str, Line] = Field(default_factory=dict)
    set: dict[str, Any] = Field(default_factory=dict)
    put: Many[PutPart] = ()
    clear: ClearPart | None = None


class ScenarioPart(FileMapping):
    name: Line
    open: bool = False
    judges: Many[RequirementNumber] = ()
    start: dict[str, Any] = Field(default_factory=dict)
    items: Many[PutPart] = ()
    steps: Many[StepPart]
    run_on: Milliseconds = 2000


class FeedbackPart(FileMapping):
    release: Annotated[Release, Field(strict=False)] = Release.SENTENCE
    chart_from_attempt: Annotated[int, Field(ge=1, le=1000)] | None = None


def _period(ms: int) -> int:
    if not 1 <= ms <= MAX_PERIOD_MS:
        raise ValueError(f"A scan takes 1 ms to {MAX_PERIOD_MS} ms.")
    return ms


Share: TypeAlias = Annotated[float, Field(strict=False, ge=0, le=1)]


class PartialCreditPart(FileMapping):
    one_edit: Share = 0.0
    two_edits: Share = 0.0


class ExerciseForm(FileMapping):
    """The whole file."""

    exercise: Line
    title: Line
    version: Annotated[int, Field(ge=1)] = 1
    teaching_order: Annotated[int, Field(ge=1)] | None = None
    summary: Line
    scan_period: Annotated[Milliseconds, AfterValidator(_period)] = 10
    outcomes: dict[str, Line] = Field(default_factory=dict)
    parameters: Parameters = ()
    feedback: FeedbackPart = FeedbackPart()
    partial_credit: PartialCreditPart = PartialCreditPart()
    statement: Text
    points: Annotated[Many[PointPart], Field(min_length=1, max_length=MAX_POINTS)]
    internal_bits: Many[BitPart] = ()
    plant: PlantForm
    observer: Text | None = None
    free: Many[FreePart] = ()
    tolerance: Annotated[Milliseconds, Field(ge=0, le=MAX_TOLERANCE_MS)] = TOLERANCE_MS
    requirements: Annotated[Many[RequirementPart], Field(min_length=1, max_length=MAX_REQUIREMENTS)]
    scenarios: Annotated[Many[ScenarioPart], Field(min_length=1, max_length=MAX_SCENARIOS)]
