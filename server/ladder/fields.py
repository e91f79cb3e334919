"""What a field of a program or an action may hold: checked where JSON comes in, nowhere else."""

from collections.abc import Callable
from typing import Annotated, TypeAlias

from pydantic import AfterValidator, Field, StrictInt
from pydantic_core import PydanticCustomError

from server.ladder.elements import INT_MIN, TIME_MAX_MS, WORD_MAX
from server.ladder.names import (
    REQUIREMENT,
    canonical,
    driven_fault,
    reference_fault,
    shortened,
    symbol_fault,
)


def refusal(text: str, fix: str) -> PydanticCustomError:
    """Return what a validator raises: the fault and the remedy, in our own words."""
    return PydanticCustomError("rung", "{text}", {"text": text, "fix": fix})


def _spelling(fault: Callable[[str], tuple[str, str] | None]) -> AfterValidator:
    def check(text: str) -> str:
        found = fault(text)
        if found is not None:
            raise refusal(*found)
        return canonical(text)

    return AfterValidator(check)


def _requirement(text: str) -> str:
    if REQUIREMENT.fullmatch(text) is None:
        raise refusal(f"{shortened(text)} is no requirement.", "Write it like R1 or R2a.")
    return text


Symbol: TypeAlias = Annotated[str, _spelling(symbol_fault)]
"""The symbol of a variable, in its one spelling."""

Driven: TypeAlias = Annotated[str, _spelling(driven_fault)]
"""What a coil drives: a variable, or a bit of a WORD like ``steps.%X3``."""

Reference: TypeAlias = Annotated[str, _spelling(reference_fault)]
"""A variable, an output of a block like ``delay.Q`` or a bit of a WORD like ``steps.%X3``."""

PinName: TypeAlias = Annotated[Symbol, AfterValidator(str.upper)]
Requirement: TypeAlias = Annotated[str, AfterValidator(_requirement)]
IntValue: TypeAlias = Annotated[StrictInt, Field(ge=INT_MIN, le=WORD_MAX)]
"""A value of INT or of WORD: which of them is told by where it stands."""
Milliseconds: TypeAlias = Annotated[StrictInt, Field(ge=0, le=TIME_MAX_MS)]
