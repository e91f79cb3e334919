"""What the forms of ``exercise.yaml`` are made of: keys that are phrases, texts, measures."""

import re
from functools import partial
from typing import Annotated, Any, TypeAlias, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    WithJsonSchema,
)

from server.ladder.names import REQUIREMENT, shortened
from server.marking.files.measures import (
    AREA,
    DURATION,
    FLOW,
    LENGTH,
    SPEED,
    parse_measure,
    parse_milliseconds,
)

T = TypeVar("T")

MAX_TEXT = 20_000
MAX_LINE = 300
MAX_PARTS = 100
"""The most parts in any list."""


class Part(BaseModel):
    """A mapping of the file: unknown keys are refused, spaces stand for underscores."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        alias_generator=lambda name: name.rstrip("_").replace("_", " "),
    )


def _line(text: str) -> str:
    line = text.strip()
    if not line or "\n" in line or len(line) > MAX_LINE:
        raise ValueError(f"A text of 1 to {MAX_LINE} characters on one line stands here.")
    return line


def _requirement(text: str) -> str:
    if REQUIREMENT.fullmatch(text) is None:
        raise ValueError(f"{shortened(text)} is no requirement. Write it like R1 or R2a.")
    return text


def _parameter(text: str) -> str:
    if re.fullmatch(r"[a-z][a-z0-9_]{0,39}", text) is None:
        raise ValueError(f"{shortened(text)} is no name of a parameter. Write it like fill_time.")
    return text


def _list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _seconds(value: object) -> float:
    return parse_milliseconds(value) / 1000


Text: TypeAlias = Annotated[str, StringConstraints(min_length=1, max_length=MAX_TEXT)]
Line: TypeAlias = Annotated[str, AfterValidator(_line)]
Many: TypeAlias = Annotated[tuple[T, ...], Field(strict=False, max_length=MAX_PARTS)]
Lines: TypeAlias = Annotated[Many[Line], BeforeValidator(_list)]
"""One line, or a list of them."""
RequirementNumber: TypeAlias = Annotated[str, AfterValidator(_requirement)]

ParameterName: TypeAlias = Annotated[str, AfterValidator(_parameter)]
Amount: TypeAlias = str | int
"""A measure of any kind, or a whole number."""

Milliseconds: TypeAlias = Annotated[
    int, BeforeValidator(parse_milliseconds), WithJsonSchema(DURATION.json_schema)
]
Seconds: TypeAlias = Annotated[
    float, BeforeValidator(_seconds), WithJsonSchema(DURATION.json_schema)
]
Length: TypeAlias = Annotated[
    float,
    BeforeValidator(partial(parse_measure, dimension=LENGTH)),
    WithJsonSchema(LENGTH.json_schema),
]
Area: TypeAlias = Annotated[
    float, BeforeValidator(partial(parse_measure, dimension=AREA)), WithJsonSchema(AREA.json_schema)
]
Flow: TypeAlias = Annotated[
    float, BeforeValidator(partial(parse_measure, dimension=FLOW)), WithJsonSchema(FLOW.json_schema)
]
Speed: TypeAlias = Annotated[
    float,
    BeforeValidator(partial(parse_measure, dimension=SPEED)),
    WithJsonSchema(SPEED.json_schema),
]
Percent: TypeAlias = Annotated[float, Field(strict=False, ge=0, le=100)]
