"""Inputs and outputs of function blocks and functions."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

from server.ladder.elements.data_types import DataType

PinType: TypeAlias = DataType | Literal["ANY"]
"""A data type; ANY is the type of the variable that the result is assigned to."""


@dataclass(frozen=True, slots=True)
class Pin:
    """One input or output of a function block, or one input of a function."""

    name: str
    type: PinType
    required: bool = False
