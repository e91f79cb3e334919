"""What the forms of ``exercise.yaml`` are made of: keys that are phrases, texts, measures."""

import re
from typing import Annotated, Any, TypeAlias

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    StringConstraints,
    WithJsonSchema,
)

from server.ladder.names import REQUIREMENT, shortened
from server.plant.fields import Line, Many, key_of
from server.plant.measures import DURATION, parse_milliseconds

MAX_TEXT = 20_000


class FileMapping(BaseModel):
    """A mapping of the file: unknown keys are refused, spaces stand for underscores."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        alias_generator=key_of,
    )


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


Text: TypeAlias = Annotated[str, StringConstraints(min_length=1, max_length=MAX_TEXT)]
Lines: TypeAlias = Annotated[Many[Line], BeforeValidator(_list)]
"""One line, or a list of them."""
RequirementNumber: TypeAlias = Annotated[str, AfterValidator(_requirement)]

ParameterName: TypeAlias = Annotated[str, AfterValidator(_parameter)]
Amount: TypeAlias = str | int
"""A measure of any kind, or a whole number."""

Milliseconds: TypeAlias = Annotated[
    int, BeforeValidator(parse_milliseconds), WithJsonSchema(DURATION.json_schema)
]
