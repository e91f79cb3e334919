"""The fields of a plant part as an exercise file writes them: names, measures, on or off.

A part is a frozen dataclass with these types, so that pydantic reads from a file (``PART_CONFIG``:
keys are phrases, unknown ones are refused) the same class that code makes directly, in SI units.
"""

from functools import partial
from typing import Annotated, Any, TypeAlias, TypeVar

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    WithJsonSchema,
)

from server.ladder.names import shortened
from server.plant.measures import (
    AREA,
    DURATION,
    FLOW,
    LENGTH,
    SPEED,
    TEMPERATURE,
    Dimension,
    parse_measure,
    parse_milliseconds,
)

T = TypeVar("T")

MAX_LINE = 300
MAX_PARTS = 100
"""The most parts in any list."""

NAMES = "x-names"
"""Key of a field's JSON schema: what the field names, so that an editor can suggest it."""


def key_of(field_name: str) -> str:
    """Return the key that stands for a Python name in a file: ``level switches``."""
    return field_name.rstrip("_").replace("_", " ")


PART_CONFIG = ConfigDict(extra="forbid", alias_generator=key_of)


def _line(text: str) -> str:
    line = text.strip()
    if not line or "\n" in line or len(line) > MAX_LINE:
        raise ValueError(f"A text of 1 to {MAX_LINE} characters on one line stands here.")
    return line


def _seconds(value: object) -> float:
    return parse_milliseconds(value) / 1000


def _on_off(value: object) -> bool:
    if value not in ("on", "off"):
        shown = shortened(str(value)) if isinstance(value, str | int | float) else "This"
        raise ValueError(f"{shown} can't stand here. Known are 'on' or 'off'.")
    return value == "on"


def _shown_on_off(on: bool) -> str:
    return "on" if on else "off"


Line: TypeAlias = Annotated[str, AfterValidator(_line)]
"""A text on one line."""
Many: TypeAlias = Annotated[tuple[T, ...], Field(strict=False, max_length=MAX_PARTS)]
Flag: TypeAlias = Annotated[bool, Field(strict=True)]
Count: TypeAlias = Annotated[int, Field(strict=True, ge=0, le=1000)]
OnOff: TypeAlias = Annotated[
    bool,
    BeforeValidator(_on_off),
    PlainSerializer(_shown_on_off),
    WithJsonSchema({"enum": ["on", "off"], "type": "string"}),
]

Seconds: TypeAlias = Annotated[
    float, BeforeValidator(_seconds), WithJsonSchema(DURATION.json_schema)
]


def measured(dimension: Dimension) -> Any:
    """Return the reader of a measure, for a field's ``BeforeValidator``."""
    return partial(parse_measure, dimension=dimension)


Length: TypeAlias = Annotated[
    float, BeforeValidator(measured(LENGTH)), WithJsonSchema(LENGTH.json_schema)
]
Area: TypeAlias = Annotated[
    float, BeforeValidator(measured(AREA)), WithJsonSchema(AREA.json_schema)
]
Flow: TypeAlias = Annotated[
    float, BeforeValidator(measured(FLOW)), WithJsonSchema(FLOW.json_schema)
]
Speed: TypeAlias = Annotated[
    float, BeforeValidator(measured(SPEED)), WithJsonSchema(SPEED.json_schema)
]
Temperature: TypeAlias = Annotated[
    float, BeforeValidator(measured(TEMPERATURE)), WithJsonSchema(TEMPERATURE.json_schema)
]
Percent: TypeAlias = Annotated[float, Field(strict=False, ge=0, le=100)]

Output: TypeAlias = Annotated[Line, Field(json_schema_extra={NAMES: "outputs"})]
"""The symbol of an output point."""
Symbol: TypeAlias = Annotated[Line, Field(json_schema_extra={NAMES: "symbols"})]
"""The symbol of any point."""
VesselName: TypeAlias = Annotated[Line, Field(json_schema_extra={NAMES: "vessels"})]
AxisName: TypeAlias = Annotated[Line, Field(json_schema_extra={NAMES: "axes"})]
MotorName: TypeAlias = Annotated[Line, Field(json_schema_extra={NAMES: "motors"})]
