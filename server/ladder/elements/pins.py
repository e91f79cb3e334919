"""Inputs and outputs of function blocks and functions."""

from dataclasses import dataclass

from server.ladder.elements.data_types import DataType


@dataclass(frozen=True, slots=True)
class Pin:
    """One input or output of a function block, or one input of a function."""

    name: str
    type: DataType
    required: bool = False
