"""The elementary data types of a program and their ranges."""

from typing import Literal, TypeAlias

DataType: TypeAlias = Literal["BOOL", "INT", "TIME"]

DATA_TYPES: tuple[DataType, ...] = ("BOOL", "INT", "TIME")

INT_MIN, INT_MAX = -32768, 32767
"""Range of INT (IEC 61131-3, elementary data types; from memory)."""

TIME_MAX_MS = 24 * 3600 * 1000
"""Longest duration a program may name: one day."""
