"""The elementary data types of a program and their ranges."""

from typing import Literal, TypeAlias

DataType: TypeAlias = Literal["BOOL", "INT", "TIME", "WORD"]

DATA_TYPES: tuple[DataType, ...] = ("BOOL", "INT", "TIME", "WORD")

NUMERIC: tuple[DataType, ...] = ("INT", "WORD")
"""What an assignment calculates: a number, and a string of 16 bits."""

INT_MIN, INT_MAX = -32768, 32767
"""Range of INT (IEC 61131-3, elementary data types; from memory)."""

WORD_BITS = 16
WORD_MAX = (1 << WORD_BITS) - 1
"""A WORD is a string of 16 bits (the same table); the lowest one has number 0."""

TIME_MAX_MS = 24 * 3600 * 1000
"""Longest duration a program may name: one day."""
